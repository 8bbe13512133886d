"""Work that takes long, in no time: it began long ago, and has given one sign of life since."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager


def long_work(make_old: Callable[[], object]) -> Callable[[Callable[[], object]], AbstractContextManager[None]]:
    @contextmanager
    def alive(go_on: Callable[[], object]) -> Iterator[None]:
        make_old()
        go_on()
        yield

    return alive
