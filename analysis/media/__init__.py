"""Opens and writes sound files, and is alone in that: by content, never by name, in blocks of bounded size.

Also what bytes alone tell: chunks, tags, hashes, safe names.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
