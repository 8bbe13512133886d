"""Closes this process in before it opens a stranger's file: what a decoder that was taken over could still do.

Four layers, each of them by itself a good deal, none of them on every machine:

- landlock      no file but its own, no TCP, no signal to and no look into any process outside
- seccomp       no sockets, programs, processes, links; only the calls that decoding needs
- namespaces    a network without addresses, and a user who owns no process outside
- capabilities  of a process that runs as root: nothing is left of that

What the kernel does not offer is left out, and `confine_self` says what holds. It cannot be undone.
"""

from __future__ import annotations

import ctypes
import json
import os
import sys
import sysconfig
from collections.abc import Callable, Collection, Iterable
from pathlib import Path

from analysis.sandbox.kernel import PR_SET_DUMPABLE, PR_SET_NO_NEW_PRIVS, prctl, system_call, unshare
from analysis.sandbox.landlock import restrict_files
from analysis.sandbox.seccomp import restrict_calls

LAYERS = ("namespaces", "landlock", "capabilities", "seccomp")  # in the order in which they can be put on
_PACKAGE = Path(__file__).resolve().parents[1]
# Where shared libraries lie, on systems that differ. Each wheel brings its own besides.
_LIBRARIES = ("/lib", "/lib64", "/usr/lib", "/usr/lib64", "/usr/local/lib", "/etc/ld.so.cache")
_PYTHON_PATHS = ("stdlib", "platstdlib", "purelib", "platlib")
# linux/sched.h: users, network, message queues, host name.
_NEW_NAMESPACES = 0x10000000 | 0x40000000 | 0x08000000 | 0x04000000
# linux/capability.h; the call's number differs.
_CAPABILITY_VERSION = 0x20080522
_CAPSET = {"x86_64": 126, "aarch64": 91}


def confine_self(
    *, read: Iterable[Path] = (), write: Iterable[Path] = (), layers: Collection[str] = LAYERS
) -> tuple[str, ...]:
    """Put on every layer of `layers` that the kernel offers; the ones that hold are returned.

    `read` and `write` are the files of this process's own; those of `write` must exist, it can make none. Python and
    its libraries stay readable. Call it while there is one thread.
    """
    try:
        prctl(PR_SET_NO_NEW_PRIVS, 1)
        prctl(PR_SET_DUMPABLE, 0)
    except OSError:
        return ()
    readable = [*_library_paths(), *read]
    put_on: dict[str, Callable[[], None]] = {
        "namespaces": lambda: unshare(_NEW_NAMESPACES),
        "landlock": lambda: restrict_files(read=readable, write=write),
        "capabilities": _drop_capabilities,
        "seccomp": restrict_calls,
    }
    return tuple(layer for layer in LAYERS if layer in layers and _holds(put_on[layer]))


def _holds(put_on: Callable[[], None]) -> bool:
    try:
        put_on()
    except OSError:
        return False
    return True


def _library_paths() -> list[Path]:
    """The libraries and the engine, not the folder that the engine lies in: a house keeps its data there."""
    python = (sysconfig.get_path(name) for name in _PYTHON_PATHS)
    return [_PACKAGE, *(Path(path) for path in (*_LIBRARIES, *python))]


def _drop_capabilities() -> None:
    header = (ctypes.c_uint32 * 2)(_CAPABILITY_VERSION, 0)
    none = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable: two words each
    number = _CAPSET.get(os.uname().machine)
    if number is None:
        raise OSError("no number for this processor")
    system_call(number, ctypes.addressof(header), ctypes.addressof(none))


if __name__ == "__main__":
    sys.stdout.write(json.dumps(confine_self()))
