"""System calls that Python has no functions for. Linux alone; elsewhere each of them is refused as unknown.

Tested in `tests/analysis/sandbox/test_confinement.py`.
"""

from __future__ import annotations

import ctypes
import errno
import os
import sys

# linux/prctl.h
PR_SET_PDEATHSIG = 1
PR_SET_DUMPABLE = 4
PR_SET_SECCOMP = 22
PR_SET_NO_NEW_PRIVS = 38


def prctl(option: int, first: int = 0, second: int = 0) -> None:
    """Set an attribute of this process. Raises OSError where the kernel refuses."""
    _checked("prctl", option, first, second, 0, 0)


def unshare(flags: int) -> None:
    _checked("unshare", flags)


def system_call(number: int, *arguments: int) -> int:
    """Make a call by its number, the same on every processor from 424 on. Raises OSError where the kernel refuses."""
    return _checked("syscall", number, *arguments)


def _checked(name: str, *arguments: int) -> int:
    if sys.platform != "linux":
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    function = getattr(ctypes.CDLL(None, use_errno=True), name)
    function.restype = ctypes.c_long
    answer: int = function(*(ctypes.c_long(argument) for argument in arguments))
    if answer == -1:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
    return answer
