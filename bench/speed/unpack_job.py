"""The measuring itself, in a house of its own (`bench/speed/unpack.py`)."""

from __future__ import annotations

import contextlib
import io
import multiprocessing
import os
import threading
import time
import warnings
import zipfile
from collections.abc import Iterator
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connections
from django.db.backends.base.base import BaseDatabaseWrapper

MOST_TRANSACTION_MS = 200


def measure(entries: int) -> None:
    from portal.intake.zips import unpacking
    from tests.factories import make_sent_zip

    call_command("migrate", verbosity=0, interactive=False)
    content = zip_of_one_name(entries)
    sent = make_sent_zip(content=content)
    database = settings.DATABASES["default"]["ENGINE"].rpartition(".")[2]
    print(f"\nUnpack: {entries} entries of one name, a zip of {len(content) / 1000:.0f} kB, on {database}", flush=True)
    with busy(os.cpu_count() or 1), other_writer() as waits, timed_transactions() as durations:
        began = time.monotonic()
        unpacking.unpack(sent.pk)
        took_s = time.monotonic() - began
    print(f"  unpacked in              {took_s:8.1f} s ({sent.sources.count()} files)")
    longest_ms = max(durations) * 1000
    verdict = "within" if longest_ms <= MOST_TRANSACTION_MS else "ABOVE"
    print(f"  longest transaction      {longest_ms:8.0f} ms of {len(durations)}; {verdict} {MOST_TRANSACTION_MS} ms")
    print(f"  longest wait of another  {max(waits) * 1000:8.0f} ms of {len(waits)} writes", flush=True)


def zip_of_one_name(entries: int) -> bytes:
    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        warnings.simplefilter("ignore")  # of each name that is there already
        for number in range(entries):
            archive.writestr("hat.wav", b"%d" % number)
    return out.getvalue()


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
def timed_transactions() -> Iterator[list[float]]:
    """How long each transaction of this thread held what it wrote: from its first statement to its commit."""
    durations, me, wrapper = [0.0], threading.get_ident(), BaseDatabaseWrapper
    began, begin, commit = [0.0], wrapper.set_autocommit, wrapper.commit

    def timed_begin(database: BaseDatabaseWrapper, autocommit: bool, *more: Any, **options: Any) -> None:
        begin(database, autocommit, *more, **options)
        if not autocommit and threading.get_ident() == me:
            began[0] = time.monotonic()

    def timed_commit(database: BaseDatabaseWrapper) -> None:
        commit(database)
        if threading.get_ident() == me:
            durations.append(time.monotonic() - began[0])

    wrapper.set_autocommit, wrapper.commit = timed_begin, timed_commit  # type: ignore[method-assign,assignment]
    try:
        yield durations
    finally:
        wrapper.set_autocommit, wrapper.commit = begin, commit  # type: ignore[method-assign]
