"""A process that must not outlive the one that started it."""

import ctypes
import os
import signal
import sys

PR_SET_PDEATHSIG = 1  # linux/prctl.h


def die_with(parent_pid: int) -> None:
    """Have the kernel kill this process when the thread that forked it ends, however it ends. Linux only.

    Called in the child, right after the fork. The parent may have died before the call: then the child ends here.
    """
    if sys.platform != "linux":
        return
    ctypes.CDLL(None, use_errno=True).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent_pid:
        os._exit(1)
