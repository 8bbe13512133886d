"""A sign of life from long work: whoever sweeps up what was left lying knows that this was not left."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event, Thread

from django.db import DatabaseError, connections

# Four signs within the two minutes after which a sweep takes work for lost.
EVERY_S = 30.0

logger = logging.getLogger(__name__)


@contextmanager
def alive(go_on: Callable[[], object], *, every_s: float = EVERY_S) -> Iterator[None]:
    """Call `go_on` again and again, beside the work, until that ends. A killed worker takes its signs along."""
    done = Event()
    signs = Thread(target=_give_signs, args=(go_on, done, every_s), daemon=True)
    signs.start()
    try:
        yield
    finally:
        done.set()
        signs.join()


def _give_signs(go_on: Callable[[], object], done: Event, every_s: float) -> None:
    try:
        while not done.wait(every_s):
            try:
                go_on()
            except DatabaseError:
                logger.warning("a heartbeat was not delivered; the next one may be", exc_info=True)
    finally:
        connections.close_all()  # this thread's own
