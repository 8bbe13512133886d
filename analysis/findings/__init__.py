"""Every kind of finding, as data: its permanent code, its severity, and what client and drummer read.

Pages, messages and rules list what is listed here.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
