"""How many requests the live server is answering: a page that is gone may have one under way still, and what that
writes would reach tables that are being emptied for the next test."""

import time
from threading import Lock
from typing import Any

from django.core.signals import request_finished, request_started

LONGEST_S = 5.0
STEP_S = 0.01


class RequestsUnderWay:
    def __init__(self) -> None:
        self._lock, self._count = Lock(), 0
        request_started.connect(self._begin, weak=False)
        request_finished.connect(self._end, weak=False)

    def _begin(self, **_: Any) -> None:
        with self._lock:
            self._count += 1

    def _end(self, **_: Any) -> None:
        with self._lock:
            self._count = max(0, self._count - 1)

    def wait_for_none(self) -> None:
        """Return when none is under way; one that never says its end is not waited for again."""
        give_up_at = time.monotonic() + LONGEST_S
        while self._count and time.monotonic() < give_up_at:
            time.sleep(STEP_S)
        with self._lock:
            self._count = 0
