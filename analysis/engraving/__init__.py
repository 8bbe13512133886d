"""A chart as others read it: pages (SVG, PDF), MusicXML 4.0, MEI 5. Staves come from a general engraver, verovio.

`forms.py` has one function for each way out. It takes a second or two and native code, so it runs in a worker.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
