"""Waiting for what other processes do."""

import time
from collections.abc import Callable

PATIENCE_S = 60


def until(happens: Callable[[], bool], *, within_s: float = PATIENCE_S) -> None:
    give_up_at = time.monotonic() + within_s
    while not happens():
        assert time.monotonic() < give_up_at, "it never happened"
        time.sleep(0.05)
