"""The project's own figures: how fast the engine is beside named baselines, and how often it is right.

`python -m bench` makes everything it measures, so anyone can run it. It needs the development requirements.
"""

import os

# One thread, as in the portal's workers, for this process and all that it starts; set before anything loads numpy.
# On small work threads only wait for each other: six times the CPU time for the same survey, seen here.
for library in ("OMP", "OPENBLAS", "MKL", "NUMBA"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")
