"""Meter, bar lines and bar one: readings of a song, their evidence, and the choice between them.

3/4 or 6/8, on the beat or off it, half or double: decided together, with one score, in `ranking.py`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
