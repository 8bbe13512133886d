"""The project's own figures: how fast the engine is beside named baselines, and how often it is right.

`python -m bench` makes everything it measures, so anyone can run it. It needs the development requirements.
"""

import os

from analysis.sandbox.starting import MEASURING_ENVIRONMENT

# The surroundings of the portal's measuring children, for this process and all that it starts; set before numpy is
# loaded. One thread: on small work threads only wait for each other, six times the CPU time for a survey, seen here.
for name, value in (MEASURING_ENVIRONMENT | {"NUMBA_NUM_THREADS": "1"}).items():
    os.environ.setdefault(name, value)
