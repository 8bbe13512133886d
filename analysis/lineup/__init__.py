"""Files against each other: do they start together, to the sample, and is anything missing?

Starts, stems against the mix, wrong rate labels, and how far a stem lies off the song's grid.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
