"""The drummer's side: the queue, the song sheet, the map page, files as both sides see them, and their views.

Pages are worked out in `*_page.py`, decided on in `*_views.py`; the decisions themselves are in `checks`.
"""
