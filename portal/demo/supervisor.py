"""One tree of processes: started in order, restarted when one dies, ended in reverse order."""

import logging
import os
import signal
import subprocess
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from types import FrameType

from portal.demo.errors import StartError
from portal.demo.processes import BASE_DIR, Part
from portal.processes import die_with

LOOK_EVERY_S = 0.1
FIRST_PAUSE_S = 0.5
LONGEST_PAUSE_S = 30.0
# Who has run this long is healthy again: its next crash starts with the first pause again.
HEALTHY_AFTER_S = 60.0
LARGEST_LOG_BYTES = 5_000_000

logger = logging.getLogger(__name__)


class StopAskedError(Exception):
    """Ctrl-C, or a signal to end."""


@dataclass
class Running:
    """A part and its process: RUNNING → DEAD (restarted at `again_at`) → RUNNING ..."""

    part: Part
    process: subprocess.Popen[bytes]
    started_at: float = field(default_factory=time.monotonic)
    pause_s: float = FIRST_PAUSE_S
    again_at: float | None = None


class Supervisor:
    """Keeps the parts of one house alive. Everything they print goes to a file of their own in `logs`."""

    def __init__(self, environment: Mapping[str, str], logs: Path) -> None:
        self.environment = dict(environment)
        self.logs = logs
        self.running: list[Running] = []
        self.stop_asked = False

    def heed_signals(self) -> None:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            signal.signal(number, self._ask_to_stop)

    def _ask_to_stop(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002
        self.stop_asked = True

    def start(self, part: Part) -> None:
        self.running.append(Running(part, self._spawn(part)))

    def run_once(self, part: Part, *, within_s: float) -> bytes:
        """Run a part to its end and return what it printed."""
        with self._spawn(part, stdout=subprocess.PIPE) as process:
            output = self._output(process, part, give_up_at=time.monotonic() + within_s)
        if output is None:
            raise StartError(self.trouble(part, f"did not stop within {within_s:.0f} s"))
        if process.returncode != 0:
            raise StartError(self.trouble(part, f"ended with code {process.returncode}"))
        return output

    def _output(self, process: subprocess.Popen[bytes], part: Part, *, give_up_at: float) -> bytes | None:
        """What the process printed by its end; None when it was given up."""
        while not self.stop_asked and time.monotonic() < give_up_at:
            try:
                return process.communicate(timeout=LOOK_EVERY_S)[0]
            except subprocess.TimeoutExpired:
                continue
        end(process, within_s=part.stops_within_s)
        self._check_stop()
        return None

    def wait_for(self, part: Part, answers: Callable[[], bool], *, within_s: float) -> None:
        """Return as soon as the part answers; give up when it died or the time is over."""
        give_up_at = time.monotonic() + within_s
        running = next(running for running in self.running if running.part is part)
        while not answers():
            self._check_stop()
            if running.process.poll() is not None:
                raise StartError(self.trouble(part, f"ended with code {running.process.returncode}"))
            if time.monotonic() > give_up_at:
                raise StartError(self.trouble(part, f"did not answer within {within_s:.0f} s"))
            time.sleep(LOOK_EVERY_S)

    def watch(self) -> None:
        """Restart what dies, until asked to stop."""
        while not self.stop_asked:
            for running in self.running:
                self.look_after(running, now=time.monotonic())
            time.sleep(LOOK_EVERY_S)

    def look_after(self, running: Running, *, now: float) -> None:
        if running.again_at is not None:
            if now >= running.again_at:
                running.process, running.started_at, running.again_at = self._spawn(running.part), now, None
        elif running.process.poll() is not None:
            # Its own children, if it left any, go with it: a new one must not meet them.
            kill_group(running.process)
            pause_s = FIRST_PAUSE_S if now - running.started_at > HEALTHY_AFTER_S else running.pause_s
            running.again_at, running.pause_s = now + pause_s, min(2 * pause_s, LONGEST_PAUSE_S)
            logger.warning("%s; restarting in %.1f s.", self.death(running), pause_s)

    def stop(self) -> None:
        """End every part, the last one started first; each one is gone before the next is asked."""
        while self.running:
            running = self.running.pop()
            end(running.process, within_s=running.part.stops_within_s)

    def death(self, running: Running) -> str:
        return self.trouble(running.part, f"ended with code {running.process.returncode}")

    def trouble(self, part: Part, what: str) -> str:
        return f"The {part.name} part {what} (see {self.log_file(part)})"

    def log_file(self, part: Part) -> Path:
        return self.logs / f"{part.name}.log"

    def _check_stop(self) -> None:
        if self.stop_asked:
            raise StopAskedError

    def _spawn(self, part: Part, stdout: int | None = None) -> subprocess.Popen[bytes]:
        file = self.log_file(part)
        if file.exists() and file.stat().st_size > LARGEST_LOG_BYTES:
            file.replace(file.with_suffix(".log.1"))
        with file.open("ab") as log:
            # A session of its own keeps the terminal's Ctrl-C from reaching a part before its turn to end.
            return subprocess.Popen(
                part.command,
                cwd=BASE_DIR,
                env=self.environment,
                stdin=subprocess.DEVNULL,
                stdout=stdout or log,
                stderr=log,
                pass_fds=part.handed_down,
                start_new_session=True,
                preexec_fn=partial(die_with, os.getpid()),  # noqa: PLW1509  this process has one thread
            )


def end(process: subprocess.Popen[bytes], *, within_s: float) -> None:
    """Ask a process to end, wait for it, and kill what is left of its group."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(timeout=within_s)
        except subprocess.TimeoutExpired:
            logger.warning("Process %s did not stop within %.0f s and was killed.", process.pid, within_s)
    kill_group(process)
    process.wait()


def kill_group(process: subprocess.Popen[bytes]) -> None:
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        # Nobody is left (macOS says so with the second).
        return
