"""Keeps a process's secrets out of the sight of other processes of the same user. Linux only.

What opens strangers' files has no secrets to begin with (`analysis/sandbox`). This is the second door, on the side of
the processes that do have them.
"""

import ctypes
import os
import sys
from collections.abc import Iterable

PR_SET_DUMPABLE = 4  # linux/prctl.h


def hide_this_process() -> None:
    """From here on the kernel shows its memory and its first environment to root alone, and dumps no core."""
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(PR_SET_DUMPABLE, 0, 0, 0, 0)


def wipe_environment(names: Iterable[str]) -> None:
    """Overwrite these variables where they lie: deleting them from `os.environ` leaves /proc/PID/environ as it was."""
    library = ctypes.CDLL(None)
    library.getenv.restype = ctypes.c_void_p
    for name in names:
        value = os.environ.get(name)
        place = library.getenv(os.fsencode(name)) if value else None
        if value and place:
            ctypes.memset(place, 0, len(os.fsencode(value)))
            del os.environ[name]
