"""How a chart is laid out in lines: four bars to a line, sections start lines.

Bars of rest that follow on one another are one sign, two bars wide. A single bar left over joins the line before it,
so that no bar stands alone (house choice); a repeat of two bars is never cut by a line. Where a print would take more
than two pages, lines with few notes are joined in pairs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from analysis.chart.document import REPEAT_2, Bar, Chart, Section
from analysis.engraving.layers import Layer, is_silent, layers_of

BARS_PER_LINE = 4
_REST_WIDTH = 2  # bars of room for a rest of several bars


@dataclass(frozen=True)
class Cell:
    """What is printed between two bar lines: one bar, or a rest of several. `number` is the first, as written."""

    number: int
    bars: tuple[Bar, ...]
    layers: tuple[Layer, ...] = ()

    @property
    def bar(self) -> Bar:
        return self.bars[0]

    @property
    def last(self) -> int:
        return self.number + len(self.bars) - 1

    @property
    def room(self) -> int:
        return 1 if len(self.bars) == 1 else _REST_WIDTH


@dataclass(frozen=True)
class Line:
    """`section` where the line begins one; `ends_section` and `ends_chart` say which bar line it closes with."""

    cells: tuple[Cell, ...]
    section: Section | None = None
    ends_section: bool = False
    ends_chart: bool = False

    @property
    def room(self) -> int:
        return sum(cell.room for cell in self.cells)


def lines_of(chart: Chart) -> tuple[Line, ...]:
    bars = chart.bars
    layers = layers_of(bars)
    found: list[Line] = []
    number = 1
    for section in chart.sections:
        cells = list(_cells(section, number, layers))
        rows = list(_rows(cells))
        number += len(section.bars)
        for index, row in enumerate(rows):
            last = index == len(rows) - 1
            found.append(Line(tuple(row), section if index == 0 else None, last, last and number > len(bars)))
    return tuple(found)


def joined(lines: Sequence[Line], fits: Callable[[Line], bool]) -> tuple[Line, ...]:
    """Two lines of a section that follow on one another as one, where that fits: for a song that has no room on its
    pages otherwise (house choice)."""
    found: list[Line] = []
    for line in lines:
        both = replace(line, cells=found[-1].cells + line.cells, section=found[-1].section) if found else line
        if found and line.section is None and found[-1].room <= BARS_PER_LINE and fits(both):
            found[-1] = both
        else:
            found.append(line)
    return tuple(found)


def _cells(section: Section, number: int, layers: list[tuple[Layer, ...]]) -> Iterator[Cell]:
    at = 0
    while at < len(section.bars):
        end = at + 1
        while end < len(section.bars) and _one_rest(section.bars[at], section.bars[end - 1], section.bars[end]):
            end += 1
        first = number + at
        yield Cell(first, section.bars[at:end], layers[first - 1])
        at = end


def _one_rest(first: Bar, before: Bar, bar: Bar) -> bool:
    """Whether a bar of rest joins those before it: same meter, and no sign at the bar line between."""
    opens = bar.road.repeat_start or bar.road.segno or bar.road.coda or bar.road.ending != first.road.ending
    closes = before.road.repeat_end or before.road.to_coda or before.road.jump or before.road.fine
    return is_silent(first) and is_silent(bar) and first.meter == bar.meter and not opens and not closes


def _rows(cells: list[Cell]) -> Iterator[list[Cell]]:
    rows: list[list[Cell]] = [[]]
    at = 0
    while at < len(cells):
        group = _pair(cells, at)
        if rows[-1] and sum(cell.room for cell in (*rows[-1], *group)) > BARS_PER_LINE:
            rows.append([])
        rows[-1].extend(group)
        at += len(group)
    if len(rows) > 1 and len(rows[-1]) == 1 and rows[-1][0].room == 1 and len(rows[-2]) == BARS_PER_LINE:
        rows[-2].extend(rows.pop())
    yield from rows


def _pair(cells: list[Cell], at: int) -> list[Cell]:
    """A bar, or both bars of a two-bar repeat."""
    second = cells[at + 1 : at + 2]
    both = cells[at].bar.shows == REPEAT_2 and bool(second) and second[0].bar.shows == REPEAT_2
    return cells[at : at + 2] if both else cells[at : at + 1]
