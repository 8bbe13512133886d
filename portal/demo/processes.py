"""The parts of a running house: how each one is started."""

import sys
from dataclasses import dataclass
from pathlib import Path

BASE_DIR = Path(__file__).resolve().parent.parent.parent
# Said to the command, and handed on to the part that makes the house.
SMALL = "--small"
WEB_PROCESSES = 2
WEB_THREADS = 8
# Each worker's name, the queues that it serves, and its processes.
WORKERS = (
    ("mail", "mail,sweeps", 1),
    ("unpacking", "unpacking", 1),
    ("packs", "packs", 1),
    ("measuring", "measuring,files", 2),
)
# On a slow machine one worker does everything: what takes long may hold up a letter.
SMALL_WORKERS = (("sole", ",".join(queues for _, queues, _ in WORKERS), 2),)
# Without a heartbeat for so long, a process is killed. Threads that send for hours do not hold it up.
WEB_TIMEOUT_S = 120


@dataclass(frozen=True)
class Part:
    """One program of the house. `stops_within_s` is how long it may take to end what it is doing."""

    name: str
    command: tuple[str, ...]
    stops_within_s: float = 10.0
    handed_down: tuple[int, ...] = ()


def queue(command: list[str]) -> Part:
    return Part("queue", tuple(command))


def web(door: int) -> Part:
    """The worker class keeps slow and idle connections away from the threads."""
    command = (
        *(sys.executable, "-m", "gunicorn", "portal.wsgi:application"),
        *("--config", "python:portal.demo.gunicorn", "--bind", f"fd://{door}"),
        *("--worker-class", "portal.serving.worker.HouseWorker"),
        *("--workers", str(WEB_PROCESSES), "--threads", str(WEB_THREADS), "--timeout", str(WEB_TIMEOUT_S)),
        *("--graceful-timeout", "5", "--preload", "--no-control-socket", "--log-level", "warning"),
    )
    return Part("web", command, handed_down=(door,))


def workers(*, small: bool) -> list[Part]:
    """One for each kind of work: what takes long holds up its own kind alone."""
    return [_worker(name, queues, processes) for name, queues, processes in (SMALL_WORKERS if small else WORKERS)]


def _worker(name: str, queues: str, processes: int) -> Part:
    command = (
        *(sys.executable, "-m", "celery", "-A", "portal", "worker", "--queues", queues, "--hostname", f"{name}@demo"),
        *("--concurrency", str(processes), "--loglevel", "WARNING", "--without-gossip", "--without-mingle"),
    )
    return Part(f"{name}-worker", command)


def beat(data_dir: Path) -> Part:
    schedule = str(data_dir / "beat-schedule")
    command = (sys.executable, "-m", "celery", "-A", "portal", "beat", "--loglevel", "WARNING", "-s", schedule)
    return Part("beat", command)


def prepare(*, small: bool) -> Part:
    return Part("prepare", (sys.executable, "-m", "portal.demo.prepare", *((SMALL,) if small else ())))
