"""The two main courses: everything about one file in one pass, and everything about a song from its files.

`survey.py` takes a file, `song.py` the surveys of a song's files; documents and the brief are read here too.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
