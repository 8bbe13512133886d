"""A grid that came with the files: a click track or a MIDI file, and how the music lies on it.

A given grid is preferred to anything measured in music; the music then only says where bar one is.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
