"""What every room of the engine shares: reports, limits, errors, units, blocks of samples, sentences.

Reports are frozen and have one JSON form; limits are every threshold that makes a finding.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
