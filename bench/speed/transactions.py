"""How long transactions hold what they wrote, and how long somebody else waits for them, on a busy machine."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.db import OperationalError, connections
from django.db.backends.base.base import BaseDatabaseWrapper

MOST_TRANSACTION_MS = 200


@dataclass
class Measured:
    took_s: float = 0.0
    transactions_s: Sequence[float] = field(default_factory=list)
    # Of the processor's time, which tells more than the clock where others compute as well.
    computed_s: Sequence[float] = field(default_factory=list)
    waits_s: Sequence[float] = field(default_factory=list)

    def tell(self) -> None:
        longest_ms, longest_wait_ms = max(self.transactions_s) * 1000, max(self.waits_s) * 1000
        verdict = "within" if longest_ms <= MOST_TRANSACTION_MS else "ABOVE"
        print(
            f"    longest transaction      {longest_ms:8.0f} ms of {len(self.transactions_s)}; "
            f"{verdict} {MOST_TRANSACTION_MS} ms; {max(self.computed_s) * 1000:.0f} ms of them computed"
        )
        print(f"    longest wait of another  {longest_wait_ms:8.0f} ms of {len(self.waits_s)} writes", flush=True)


@contextlib.contextmanager
def measuring() -> Iterator[Measured]:
    """What is filled in at the end: the work of this thread meanwhile."""
    measured = Measured()
    with busy(os.cpu_count() or 1), other_writer() as waits, timed_transactions() as (durations, computed):
        began = time.monotonic()
        yield measured
        measured.took_s = time.monotonic() - began
        measured.transactions_s, measured.computed_s, measured.waits_s = durations, computed, waits


def database_name() -> str:
    return str(settings.DATABASES["default"]["ENGINE"]).rpartition(".")[2]


@contextlib.contextmanager
def busy(processes: int) -> Iterator[None]:
    """As many processes as there are cores, none of which ever rests."""
    burning = [multiprocessing.Process(target=burn, daemon=True) for _ in range(processes)]
    for process in burning:
        process.start()
    try:
        yield
    finally:
        for process in burning:
            process.terminate()
            process.join()


def burn() -> None:
    while True:
        sum(range(10_000))


@contextlib.contextmanager
def other_writer() -> Iterator[list[float]]:
    """Somebody writes one row ten times a second, as a sign-in does: how long each write took."""
    from tests.factories import make_client

    user, waits, done = make_client(), [0.0], threading.Event()

    def write() -> None:
        while not done.wait(0.1):
            began = time.monotonic()
            with contextlib.suppress(OperationalError):
                user.save(update_fields=["name"])
            waits.append(time.monotonic() - began)
        connections.close_all()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        yield waits
    finally:
        done.set()
        writer.join()


@contextlib.contextmanager
def timed_transactions() -> Iterator[tuple[list[float], list[float]]]:
    """How long each transaction of this thread held what it wrote: from its first statement to its commit, by the
    clock and in time of the processor."""
    durations, computed, me, wrapper = [0.0], [0.0], threading.get_ident(), BaseDatabaseWrapper
    began, begin, commit = [0.0, 0.0], wrapper.set_autocommit, wrapper.commit

    def timed_begin(database: BaseDatabaseWrapper, autocommit: bool, *more: Any, **options: Any) -> None:
        begin(database, autocommit, *more, **options)
        if not autocommit and threading.get_ident() == me:
            began[:] = time.monotonic(), time.thread_time()

    def timed_commit(database: BaseDatabaseWrapper) -> None:
        commit(database)
        if threading.get_ident() == me:
            durations.append(time.monotonic() - began[0])
            computed.append(time.thread_time() - began[1])

    wrapper.set_autocommit, wrapper.commit = timed_begin, timed_commit  # type: ignore[method-assign,assignment]
    try:
        yield durations, computed
    finally:
        wrapper.set_autocommit, wrapper.commit = begin, commit  # type: ignore[method-assign]
