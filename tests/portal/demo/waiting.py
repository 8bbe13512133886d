"""Waiting for what other processes do."""

import time
from collections.abc import Callable

PATIENCE_S = 60


def until(happens: Callable[[], bool]) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while not happens():
        assert time.monotonic() < give_up_at, "it never happened"
        time.sleep(0.05)
