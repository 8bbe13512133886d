"""What a process of the house asks of the kernel: to end with its parent, and to keep its secrets. Linux only.

What opens strangers' files has no secrets to begin with (`analysis/sandbox`). This is the second door, on the side of
the processes that do have them.
"""

import ctypes
import os
import signal
import sys
from collections.abc import Iterable

# linux/prctl.h
PR_SET_PDEATHSIG = 1
PR_SET_DUMPABLE = 4


def die_with(parent_pid: int) -> None:
    """Have the kernel kill this process when the thread that forked it ends, however it ends.

    Called in the child, right after the fork. The parent may have died before the call: then the child ends here.
    """
    if sys.platform != "linux":
        return
    ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent_pid:
        os._exit(1)


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
