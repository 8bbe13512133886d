"""Somebody who only wants to read: how long the pages take, quiet and during an attack."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from http.client import HTTPException
from statistics import quantiles

from tests.attacks.target import PATIENCE_S, Target

# Slower than the house lets one address ask on and on: what makes this reader wait is not this reader.
PAUSE_S = 0.12
HTTP_BAD = 400


@dataclass(frozen=True)
class Reading:
    """Seconds of each page. One that failed counts as the longest wait."""

    seconds: Sequence[float]
    failed: int

    @property
    def p95_s(self) -> float:
        return quantiles(self.seconds, n=20, method="inclusive")[-1] if len(self.seconds) > 1 else self.seconds[0]


def read_pages(target: Target, pages: Sequence[str], *, for_s: float) -> Reading:
    seconds: list[float] = []
    failed, until = 0, time.monotonic() + for_s
    while time.monotonic() < until:
        path = pages[len(seconds) % len(pages)]
        started = time.monotonic()
        try:
            answered = target.read(path).status < HTTP_BAD
        except (OSError, HTTPException):
            answered = False
        seconds.append(time.monotonic() - started if answered else PATIENCE_S)
        failed += not answered
        time.sleep(PAUSE_S)
    return Reading(seconds, failed)
