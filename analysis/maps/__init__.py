"""The tempo map and what is made from it: click, MIDI file, anchors, taps, and how playing lies on it.

Times are exact fractions, rounded only at the edge (`tempo_map.py`).
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
