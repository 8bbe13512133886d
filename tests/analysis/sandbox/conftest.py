from __future__ import annotations

from collections.abc import Callable, Iterator
from textwrap import indent

import pytest

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
LineToChildren = Callable[..., Line]


@pytest.fixture
def children_that() -> Iterator[LineToChildren]:
    """A line to a real starter whose children do what the test says with their `order`, with nothing around it.

    `settings` are lines that the starter reads before it serves.
    """
    lines: list[Line] = []

    def line_to(work: str = "", *, settings: str = "") -> Line:
        lines.append(Line("-c", PROGRAM.format(work=indent(work.replace("; ", "\n"), "    "), settings=settings)))
        return lines[-1]

    yield line_to
    for line in lines:
        line.close()
