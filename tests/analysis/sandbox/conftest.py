from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from textwrap import indent

import pytest

from analysis.sandbox import child
from analysis.sandbox.starting import Line

PROGRAM = """
import json, os, sys, time
from analysis.sandbox import child_jobs, starter
{settings}
def work(told):
    order = json.loads(told)
{work}
    return 0
child_jobs.main = work
starter.main()
"""


@contextmanager
def measured_by(line: Line) -> Iterator[None]:
    """Every child of this process comes along this line meanwhile."""
    with closing(line), pytest.MonkeyPatch.context() as patched:
        patched.setattr(child, "LINE", line)
        yield


def children(work: str, *, settings: str = "") -> Line:
    """To a real starter whose children do this with their `order`, with nothing around it.

    `settings` are lines that the starter reads before it serves.
    """
    return Line("-c", PROGRAM.format(work=indent(work.replace("; ", "\n"), "    "), settings=settings))


LineToChildren = Callable[..., Line]


@pytest.fixture
def children_that() -> Iterator[LineToChildren]:
    """`children`, whose starters end with the test."""
    lines: list[Line] = []

    def line_to(work: str = "", *, settings: str = "") -> Line:
        lines.append(children(work, settings=settings))
        return lines[-1]

    yield line_to
    for line in lines:
        line.close()
