"""Tempo: candidate pulses, a grid fitted over the whole song, and whether the tempo moves.

All files of a song are pooled first (`evidence.py`); periods are exact to far below 0.02 BPM.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
