"""A take, then a checked multitrack, on its way to the client.

Where a rough mix lies in its song, safe repairs, and the sheet by which the client checks what arrived.

Repairs write new files beside the originals; the sheet needs nothing but this package to be read.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
