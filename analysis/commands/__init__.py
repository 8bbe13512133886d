"""What the command line does: one function for each command, and reports as text for a terminal.

Reads files and JSON, calls the engine, prints. The door is `python -m analysis`.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
