"""From numbers to findings: measurements and the brief compared with `Limits`.

Nothing is measured here. File rules look at one file, song rules at a song, stated rules at names, tags and MIDI.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
