from __future__ import annotations

import time
from threading import Event

from django.db import DatabaseError

from portal.heartbeat import alive

PATIENCE_S = 5.0


def test_signs_are_given_while_the_work_goes_on_and_none_after() -> None:
    signs: list[int] = []
    twice = Event()

    def go_on() -> None:
        signs.append(1)
        if len(signs) == 1:
            raise DatabaseError("locked")  # costs one sign, not the others
        twice.set()

    with alive(go_on, every_s=0.01):
        assert twice.wait(PATIENCE_S)
    given = len(signs)
    time.sleep(0.05)
    assert len(signs) == given


def test_short_work_gives_none() -> None:
    signs: list[int] = []
    with alive(lambda: signs.append(1)):
        pass
    assert signs == []
