"""The worker's end of a line to a `starter`: each order becomes a child there, and its exit status comes back.

One starter serves all threads of a process. It is a fresh interpreter, not a fork: it inherits no connections and no
environment. It ends with this process, or when it was idle; the next order then starts another. Tested in
`tests/analysis/sandbox/test_starter.py`.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from analysis.sandbox.starter import MESSAGE_BYTES

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
    """To one starter, which runs when it is needed. `program` is what Python is told to run."""

    def __init__(self, *program: str) -> None:
        self._program = (*PYTHON, *program)
        self._one_at_a_time = threading.Lock()
        self._starter: _Starter | None = None

    def run(self, kind: str, order: bytes, *, folder: str, complaints: IO[bytes], time_limit_s: float) -> int:
        """The child's exit status, or the signal that ended it as a negative number. 1 where two starters were lost.

        `folder` is where it works, `complaints` takes what it says. Raises TimeoutError once an overdue child ended.
        """
        message = json.dumps({"kind": kind, "folder": folder}).encode().ljust(MESSAGE_BYTES)
        with tempfile.TemporaryFile() as told:
            told.write(order)
            for _ in range(2):
                told.seek(0)
                starter = self._running()
                with _sent(starter, message, told, complaints) as answer:
                    if status := _received(answer, time_limit_s):
                        return int(status)
                self._end(starter)
        return 1

    def close(self) -> None:
        if self._starter:
            self._end(self._starter)

    def forget(self) -> None:
        """For a fork of this process: it starts its own, and this process's ends with this process."""
        self._one_at_a_time = threading.Lock()
        if self._starter:
            self._starter.line.close()
        self._starter = None

    def _running(self) -> _Starter:
        with self._one_at_a_time:
            if self._starter is None:
                ours, theirs = socket.socketpair()
                with theirs:
                    process = subprocess.Popen(
                        self._program, stdin=theirs.fileno(), stdout=subprocess.DEVNULL, env=environment(), cwd="/"
                    )
                self._starter = _Starter(process, ours)
            return self._starter

    def _end(self, starter: _Starter) -> None:
        """It went, was idle, or is needed no more."""
        with self._one_at_a_time:
            starter.line.close()
            starter.process.wait()
            if self._starter is starter:
                self._starter = None


@dataclass(frozen=True)
class _Starter:
    process: subprocess.Popen[bytes]
    line: socket.socket


def _sent(starter: _Starter, message: bytes, *files: IO[bytes]) -> socket.socket:
    """Where the answer comes."""
    ours, theirs = socket.socketpair()
    with theirs, contextlib.suppress(OSError):  # a starter that went gives no answer
        socket.send_fds(starter.line, [message], [*(file.fileno() for file in files), theirs.fileno()])
    return ours


def _received(answer: socket.socket, time_limit_s: float) -> bytes:
    """Nothing when the starter went without an answer."""
    answer.settimeout(time_limit_s)
    try:
        return answer.recv(MESSAGE_BYTES)
    except TimeoutError:
        answer.settimeout(None)
        answer.shutdown(socket.SHUT_WR)  # the starter ends the child, and then answers
        answer.recv(MESSAGE_BYTES)
        raise
    except ConnectionResetError:
        return b""
