"""The worker's end of lines to `starter` processes: each order becomes a child there, and its exit status comes back.

A starter is a fresh interpreter, not a fork: it inherits no connections and no environment. It does one order at a
time, so a thread that finds none idle starts another. It ends with this process, when it was idle for a while, and
after a child that crashed: forks of one have their memory at the same addresses, which a crash may have told. Tested
in `tests/analysis/sandbox/test_starter.py`.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path

from analysis.sandbox.starter import TAKEN

_ENDING_S = 10.0  # house choice: a starter that is told to end has nothing to do but to kill its child
_MOST_ANSWER_BYTES = 64
# -s and -P: no modules from the user's own folder, none from the child's.
PYTHON = (sys.executable, "-s", "-P")
PACKAGE_PARENT = Path(__file__).resolve().parents[2]
# One thread for each child: the worker runs as many children as there are cores, and waiting threads would only spin.
# glibc keeps the memory of passing arrays instead of fetching it from the system again for every block: a tenth faster.
MEASURING_ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "MALLOC_MMAP_THRESHOLD_": str(2**28),
    "MALLOC_TRIM_THRESHOLD_": str(2**28),
}


def environment() -> dict[str, str]:
    """All that a child gets of this process's environment: nothing."""
    return {"PATH": os.defpath, "PYTHONPATH": str(PACKAGE_PARENT), "LANG": "C.UTF-8"} | MEASURING_ENVIRONMENT


class Line:
    """To as many starters as there are orders at a time. `program` is what Python is told to run."""

    def __init__(self, *program: str) -> None:
        self._program = (*PYTHON, *program)
        self._lock = threading.Lock()
        self._idle: list[_Starter] = []
        self._busy: set[_Starter] = set()
        self._closings = 0

    def run(self, kind: str, *, folder: str, time_limit_s: float) -> int:
        """The child's exit status, or the signal that ended it as a negative number.

        `folder` holds the order, and is where the child works. Raises TimeoutError once an overdue child ended, and
        ChildProcessError where none could be started, or where somebody else ended it: the system for want of memory,
        or a person. No file is to blame for that.
        """
        order, closings = json.dumps([kind, folder]).encode() + b"\n", self._closings
        for new in (False, True):  # one that was idle may have ended since
            starter = self._ready(new=new, closings=closings)
            status = None
            try:
                if starter.asked(order, time_limit_s):
                    status = starter.answer(time_limit_s)
                    if status in (None, -signal.SIGKILL):
                        raise ChildProcessError("the process that measures was killed")
                    return status
            finally:
                self._leave(starter, is_sound=status is not None and status >= 0)
        raise ChildProcessError("no process that measures could be started")

    def close(self) -> None:
        """Ends the starters and the children at work. Orders of before raise ChildProcessError; later ones are done."""
        with self._lock:
            self._closings += 1
            starters, self._idle = [*self._idle, *self._busy], []
        for starter in starters:
            starter.tell_to_end()
        for starter in starters:
            starter.end()

    def forget(self) -> None:
        """For a fork of this process: it starts its own, and this process's end with this process."""
        for starter in (*self._idle, *self._busy):
            starter.line.close()
            starter.process.returncode = 0  # no process of the fork's: nothing to wait for, nor to warn of
        self._lock, self._idle, self._busy = threading.Lock(), [], set()

    def _ready(self, *, new: bool, closings: int) -> _Starter:
        with self._lock:
            if closings != self._closings:
                raise ChildProcessError("what measures was told to end")
            for gone in [starter for starter in self._idle if starter.process.poll() is not None]:
                self._idle.remove(gone)
                gone.line.close()
            starter = self._idle.pop() if self._idle and not new else _started(self._program)
            self._busy.add(starter)
            return starter

    def _leave(self, starter: _Starter, *, is_sound: bool) -> None:
        with self._lock:
            self._busy.discard(starter)
            if is_sound:
                self._idle.append(starter)
        if not is_sound:
            starter.end()


@dataclass(frozen=True, eq=False)
class _Starter:
    process: subprocess.Popen[bytes]
    line: socket.socket

    def asked(self, order: bytes, time_limit_s: float) -> bool:
        """Whether the starter took it. Raises TimeoutError."""
        self.line.settimeout(time_limit_s)
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            self.line.sendall(order)
            return self.line.recv(len(TAKEN), socket.MSG_WAITALL) == TAKEN
        return False

    def answer(self, time_limit_s: float) -> int | None:
        """None when the starter went. Raises TimeoutError."""
        self.line.settimeout(time_limit_s)
        with contextlib.suppress(ConnectionResetError):
            status = self.line.recv(_MOST_ANSWER_BYTES)
            return int(status) if status else None
        return None

    def tell_to_end(self) -> None:
        with contextlib.suppress(OSError):
            self.line.shutdown(socket.SHUT_RDWR)

    def end(self) -> None:
        """And its child, which is gone when this returns, unless the starter was stopped: then just after."""
        self.tell_to_end()
        try:
            self.process.wait(_ENDING_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.line.close()


def _started(program: tuple[str, ...]) -> _Starter:
    ours, theirs = socket.socketpair()
    with theirs:
        process = subprocess.Popen(
            program,
            stdin=theirs.fileno(),
            stdout=subprocess.DEVNULL,
            stderr=None if sys.stderr else subprocess.DEVNULL,
            env=environment(),
            cwd="/",
        )
    return _Starter(process, ours)
