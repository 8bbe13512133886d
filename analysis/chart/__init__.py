"""The chart: a document of its own, its road map, and how it is drafted and merged.

`document.py` says what a chart holds and how its JSON looks.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
