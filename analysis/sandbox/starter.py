"""A process that has loaded what measuring needs, and forks a child for each order that comes along its line.

Loading that takes longer than most files take to measure. `python -m analysis.sandbox.starter` has the line as its
standard input (`starting.py` holds the other end). It opens nothing of a stranger's itself: what an order says is read
by the child alone, and the child closes itself in as `child_jobs` says.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import selectors
import signal
import socket
import sys
import tempfile
import traceback
from pathlib import Path

from analysis.sandbox import child_jobs

MESSAGE_BYTES = 8_192  # room for the longest path of a folder (linux/limits.h: 4,096)
_IDLE_S = 60.0  # house choice: its memory goes back between two clients' uploads, and stays between two files of one
# What is loaded before the fork, on Linux alone: macOS's own numerical libraries do not survive one.
_LOADS = sys.platform == "linux"


class Starter:
    """A child's socket answers its exit status; whoever closes the other end wants the child ended."""

    def __init__(self, line: socket.socket) -> None:
        self._line = line
        self._answers: dict[int, socket.socket] = {}
        self._selector = selectors.DefaultSelector()
        self._ended, self._wake = socket.socketpair()
        for end in (self._ended, self._wake):
            end.settimeout(0)
        for ready in (line, self._ended):
            self._selector.register(ready, selectors.EVENT_READ)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        signal.set_wakeup_fd(self._wake.fileno())

    def serve(self) -> None:
        """Until the line is closed, or nobody has asked for a while."""
        while self._serves_on():
            pass
        for pid in self._answers:
            os.kill(pid, signal.SIGKILL)

    def _serves_on(self) -> bool:
        ready = [key.fileobj for key, _ in self._selector.select(None if self._answers else _IDLE_S)]
        for pid, answer in self._answers.items():
            if answer in ready:  # closed at the other end: nothing is ever sent along it
                self._selector.unregister(answer)
                os.kill(pid, signal.SIGKILL)
        if self._ended in ready:
            self._reap()
        if self._line in ready:
            return self._take()
        return bool(ready or self._answers)

    def _take(self) -> bool:
        message, descriptors, _, _ = socket.recv_fds(self._line, MESSAGE_BYTES, 3, socket.MSG_WAITALL)
        if not message:
            return False
        order, complaints, answer = descriptors
        told = json.loads(message)
        if _LOADS:
            importlib.import_module(child_jobs.JOBS[told["kind"]].engine)
        if (pid := os.fork()) == 0:
            _become_child(order, complaints, told["folder"])
        os.close(order)
        os.close(complaints)
        self._answers[pid] = socket.socket(fileno=answer)
        self._selector.register(self._answers[pid], selectors.EVENT_READ)
        return True

    def _reap(self) -> None:
        self._ended.recv(MESSAGE_BYTES)
        for pid in tuple(self._answers):
            ended, status = os.waitpid(pid, os.WNOHANG)
            if not ended:
                continue
            with self._answers.pop(pid) as answer, contextlib.suppress(BrokenPipeError):
                if answer.fileno() in self._selector.get_map():
                    self._selector.unregister(answer)
                answer.send(str(os.waitstatus_to_exitcode(status)).encode())


def _become_child(order: int, complaints: int, folder: str) -> None:
    """Does not return."""
    status = 1
    try:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        os.dup2(order, sys.stdin.fileno())
        os.dup2(complaints, sys.stderr.fileno())
        # No line, no other child's answer: what is open is its own.
        os.closerange(sys.stderr.fileno() + 1, os.sysconf("SC_OPEN_MAX"))
        os.chdir(folder)
        os.environ["TMPDIR"] = tempfile.tempdir = folder
        status = child_jobs.main()
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else 1
    except BaseException:  # noqa: BLE001  whatever it is, it ends the child and goes no further
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(status)


def main() -> None:
    """A key press that ends the worker's program ends it alone: it closes the line when its work is done."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    line = socket.socket(fileno=os.dup(sys.stdin.fileno()))
    with Path(os.devnull).open("r+b") as nothing:
        os.dup2(nothing.fileno(), sys.stdin.fileno())
        os.dup2(nothing.fileno(), sys.stdout.fileno())
    Starter(line).serve()


if __name__ == "__main__":
    main()
