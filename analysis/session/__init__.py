"""What is loaded to track: a song's files conformed to one session, with click, tempo map and papers.

`timeline.py` says where everything lies, `conform.py` writes one file, `pack.py` the whole set.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
