"""Landlock: this process reads and writes only under the paths that are named, and reaches no process outside.

Numbers and layouts: linux/landlock.h. Each version of the interface refuses more; what the kernel does not know is left
out. A path that is not named can still be asked for its size and date (`stat`), not for its content. Tested
in `tests/analysis/sandbox/test_confinement.py`.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterable
from pathlib import Path

from analysis.sandbox.kernel import system_call

_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446
_ASK_VERSION = 1
_RULE_PATH_BENEATH = 1
_WRITE_FILE, _READ_FILE, _READ_DIR, _TRUNCATE = 1 << 1, 1 << 2, 1 << 3, 1 << 14
# All rights to files that a version knows: execute to make_sym, then refer, truncate, and devices' ioctl.
_FILE_RIGHTS_BY_VERSION = {1: 2**13 - 1, 2: 2**14 - 1, 3: 2**15 - 1, 5: 2**16 - 1}
_TCP_VERSION, _TCP_RIGHTS = 4, 0b11  # bind, connect
_SCOPE_VERSION, _SCOPES = 6, 0b11  # abstract sockets, signals


class _Ruleset(ctypes.Structure):
    _fields_ = [("files", ctypes.c_uint64), ("tcp", ctypes.c_uint64), ("scopes", ctypes.c_uint64)]


class _PathBeneath(ctypes.Structure):
    _pack_ = 1
    _fields_ = [("allowed", ctypes.c_uint64), ("parent", ctypes.c_int32)]


def landlock_version() -> int:
    """The version of the kernel's Landlock interface; 0 where it has none, or has it switched off."""
    try:
        return system_call(_CREATE_RULESET, 0, 0, _ASK_VERSION)
    except OSError:
        return 0


def restrict_files(*, read: Iterable[Path], write: Iterable[Path]) -> None:
    """Leave this process the trees and files of `read` and the existing files of `write`; it can make none.

    Raises OSError where the kernel has no Landlock. Needs "no new privileges". Paths that do not exist are passed over.
    """
    version = landlock_version()
    known = max((right for since, right in _FILE_RIGHTS_BY_VERSION.items() if since <= version), default=0)
    rules = _Ruleset(known, _TCP_RIGHTS if version >= _TCP_VERSION else 0, _SCOPES if version >= _SCOPE_VERSION else 0)
    ruleset = system_call(_CREATE_RULESET, ctypes.addressof(rules), _size_known_to(version), 0)
    try:
        for path in read:
            _allow(ruleset, path, _READ_FILE | _READ_DIR)
        for path in write:
            _allow(ruleset, path, (_READ_FILE | _WRITE_FILE | _TRUNCATE) & known)
        system_call(_RESTRICT_SELF, ruleset, 0)
    finally:
        os.close(ruleset)


def _size_known_to(version: int) -> int:
    return 8 * (1 + (version >= _TCP_VERSION) + (version >= _SCOPE_VERSION))


def _allow(ruleset: int, path: Path, rights: int) -> None:
    try:
        parent = os.open(path, os.O_PATH | os.O_CLOEXEC)
    except FileNotFoundError:
        return
    try:
        allowed = rights if path.is_dir() else rights & ~_READ_DIR
        rule = _PathBeneath(allowed, parent)
        system_call(_ADD_RULE, ruleset, _RULE_PATH_BENEATH, ctypes.addressof(rule), 0)
    finally:
        os.close(parent)
