"""The small arrays that musical questions are answered from: onsets, bands, harmony, strokes.

Gathered in the file's one pass (`feature_arrays.py`) and kept; memory does not grow with the file.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
