"""A multitrack as a set: its checks, its feel against the grid, and files brought to one start, length and rate.

Each check gives a result with its figure and limit; none decides what happens next.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
