"""A process that has loaded what measuring needs, and forks a child for each order that comes along its line.

Loading takes longer than most files take to measure. `python -m analysis.sandbox.starter` has the line as its standard
input (`starting.py` holds the other end) and does one order at a time. It opens nothing itself: what an order says is
read by the child, which then closes itself in as `child_jobs` says.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import select
import signal
import socket
import sys
import tempfile
import traceback
from pathlib import Path

from analysis.sandbox import child_jobs
from analysis.sandbox.kernel import PR_SET_DUMPABLE, PR_SET_PDEATHSIG, prctl

# In the folder of an order: what is to be done, and what the child complains of.
ORDER, COMPLAINTS = "order.json", "complaints"
TAKEN = b"taken\n"  # answered before the exit status: from here on a child may have done something
_IDLE_S = 60.0  # house choice: its memory goes back between two clients' uploads, and stays between two files of one
# What is loaded before the fork, on Linux alone: macOS's own numerical libraries do not survive one.
_LOADS = sys.platform == "linux"


def serve(line: socket.socket) -> None:
    """Until the line is closed, or nobody has asked for a while."""
    ended, wake = socket.socketpair()
    wake.settimeout(0)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    signal.set_wakeup_fd(wake.fileno())
    idle_s = None  # it was started for an order
    with line.makefile("rb") as orders:
        while select.select([line], [], [], idle_s)[0] and (order := orders.readline()):
            line.sendall(TAKEN)
            kind, folder = json.loads(order)
            if _LOADS:
                importlib.import_module(child_jobs.JOBS[kind].engine)
            starter = os.getpid()
            if (child := os.fork()) == 0:
                _become_child(folder, starter)
            line.sendall(b"%d\n" % _exit_status(child, line, ended))
            idle_s = _IDLE_S


def _exit_status(child: int, line: socket.socket, ended: socket.socket) -> int:
    """Its code, or the signal that ended it as a negative number. It is killed when the line is closed meanwhile."""
    while True:
        ready = select.select([line, ended], [], [])[0]
        if line in ready:
            os.kill(child, signal.SIGKILL)
        else:
            ended.recv(1)
        found, status = os.waitpid(child, 0 if line in ready else os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)


def _become_child(folder: str, starter: int) -> None:
    """Does not return."""
    status = 1
    try:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        with contextlib.suppress(OSError):  # Linux alone
            prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() == starter:
            os.closerange(sys.stderr.fileno() + 1, child_jobs.OPEN_FILES_LIMIT)  # the line is the starter's
            with Path(folder, COMPLAINTS).open("wb") as complaints:
                os.dup2(complaints.fileno(), sys.stderr.fileno())
            os.chdir(folder)
            os.environ["TMPDIR"] = tempfile.tempdir = folder
            status = child_jobs.main(Path(ORDER).read_bytes())
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else 1
    except BaseException:  # noqa: BLE001  whatever it is, it ends the child and goes no further
        traceback.print_exc()
    finally:
        try:
            sys.stderr.flush()
        finally:
            os._exit(status)


def main() -> None:
    """A key press that ends the worker's program ends that alone: it closes the line when its work is done."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_SETMASK, ())  # a mask is inherited, and here SIGCHLD has to come
    with contextlib.suppress(OSError):  # Linux alone
        prctl(PR_SET_DUMPABLE, 0)  # its memory is that of every later child
    line = socket.socket(fileno=os.dup(sys.stdin.fileno()))
    with Path(os.devnull).open("r+b") as nothing:
        os.dup2(nothing.fileno(), sys.stdin.fileno())
        os.dup2(nothing.fileno(), sys.stdout.fileno())
    with contextlib.suppress(BrokenPipeError):  # nobody waits for the answer
        serve(line)


if __name__ == "__main__":
    main()
