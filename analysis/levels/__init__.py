"""How loud, how full, how clean: sample and true peak, loudness, clipping, silence, dropouts, spectrum.

Each meter takes blocks and finishes with a number; its standard stands in its first lines.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
