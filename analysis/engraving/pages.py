"""A chart on pages: lines of staves under a heading, as large as fits, on one page if it can be, else on two that face
each other.

A staff in print is 6.5 mm high at the least (house choice, read at about a metre) and as high as leaves the chart on
the fewest pages and lines; large print begins at 10 mm. What room is left over goes between the lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from analysis.chart.document import Chart
from analysis.chart.roadmap import bar_labels, section_counts
from analysis.engraving.drawn import BarBox, DrawnPage, Label, Piece, moved
from analysis.engraving.fonts import LEAST_TEXT_MM, REGULAR, text_width
from analysis.engraving.heading import heading
from analysis.engraving.line_mei import key_mei, line_mei, voices_of
from analysis.engraving.lines import BARS_PER_LINE, Line, joined, lines_of
from analysis.engraving.marks import marked
from analysis.engraving.placing import Room
from analysis.engraving.staff import engraved

LEAST_STAFF_MM = 6.5


@dataclass(frozen=True)
class Paper:
    """Millimetres. Staves are tried from `largest` down to `smallest`. A page that is not printed turns by itself."""

    width: float
    height: float
    margin: float
    largest: float
    smallest: float
    is_printed: bool = True


PAPERS = {
    "a4": Paper(210.0, 297.0, 12.0, 8.5, LEAST_STAFF_MM),
    "letter": Paper(215.9, 279.4, 12.0, 8.5, LEAST_STAFF_MM),
    "a4-large": Paper(210.0, 297.0, 10.0, 10.0, 10.0),
    "letter-large": Paper(215.9, 279.4, 10.0, 10.0, 10.0),
    # For a screen beside the kit.
    "screen": Paper(280.0, 175.0, 8.0, 9.0, 9.0, is_printed=False),
}
_STEP = 0.5
# Room between what lies on two lines (millimetres), and what is added at most where a page has more (staff heights):
# farther apart, lines no longer read as one page (house choices).
_BETWEEN, _ADDED = 2.4, 2.6
_FOOT = 6.0
# A page is broken before a section, if at least this much of it is used.
_FULL = 0.6
# Joined lines fill no more of the width than this: their bars are narrow (house choice).
_JOINED = 0.7
_FACING = 2  # pages that lie side by side on a stand


@dataclass(frozen=True)
class _Row:
    """A line ready to be set on a page, and whether a section begins with it."""

    room: Room
    bars: tuple[BarBox, ...]
    begins: bool

    @property
    def above(self) -> float:
        return -self.room.extent.top

    @property
    def tall(self) -> float:
        return self.room.extent.bottom - self.room.extent.top


def pages_of(chart: Chart, paper: Paper, *, note: str = "") -> tuple[DrawnPage, ...]:
    """`note` is printed at the right of the heading: a version, a date."""
    lines = lines_of(chart)
    small = _set(chart, lines, paper, paper.smallest, note)
    if len(small) > _FACING and paper.is_printed:
        width = _JOINED * (paper.width - 2 * paper.margin)
        lines = joined(lines, lambda both: _needs(both, paper.smallest) <= width)
        small = _set(chart, lines, paper, paper.smallest, note)
    if len(small) > _FACING:
        return small
    for step in range(int((paper.largest - paper.smallest) / _STEP)):
        larger = _set(chart, lines, paper, paper.largest - step * _STEP, note)
        if len(larger) == len(small) and _staves(larger) == _staves(small):
            return larger
    return small


def _staves(pages: Sequence[DrawnPage]) -> int:
    return sum(len({one.box.top for one in page.bars}) for page in pages)


def _set(chart: Chart, lines: Sequence[Line], paper: Paper, size: float, note: str) -> tuple[DrawnPage, ...]:
    width = paper.width - 2 * paper.margin
    rows = list(_rows(chart, lines, width, size))
    top = heading(chart, width=width, note=note)
    room = paper.height - 2 * paper.margin - _FOOT
    groups = list(_groups(rows, room - top.height, room))
    pages = []
    for index, group in enumerate(groups):
        head = top if index == 0 else heading(chart, width=width, note=note, first=False)
        page = _page(paper, group, head.pieces, head.height, size)
        if len(groups) > 1:
            page = replace(page, pieces=(*page.pieces, _page_number(paper, index + 1, len(groups))))
        pages.append(page)
    return tuple(pages)


def _rows(chart: Chart, lines: Sequence[Line], width: float, size: float) -> Iterator[_Row]:
    before, labels, counts = None, bar_labels(chart), iter(section_counts(chart))
    for whole in lines:
        count = next(counts) if whole.section else ""
        for line in _that_fit(whole, width, size):
            staff = engraved(
                line_mei(line, before),
                width=_line_width(whole, width, size),
                staff_height=size,
                last_bars={cell.number: cell.last for cell in line.cells},
            )
            number = labels[line.cells[0].number]
            room = marked(line, staff, height=size, width=width, number=number, count=count)
            yield _Row(room, staff.bars, line.section is not None)
            before = line.cells[-1].bar.meter
    voices = voices_of(chart.bars)
    if voices:
        yield _key(voices, width, 0.7 * size)


def _that_fit(line: Line, width: float, size: float) -> Iterator[Line]:
    """A line whose notes need more room than a line has is set as two."""
    if len(line.cells) == 1 or _needs(line, size) <= width:
        yield line
        return
    half = (len(line.cells) + 1) // 2
    yield from _that_fit(replace(line, cells=line.cells[:half], ends_section=False, ends_chart=False), width, size)
    yield from _that_fit(replace(line, cells=line.cells[half:], section=None), width, size)


def _needs(line: Line, size: float) -> float:
    """The least width of a line in which its notes can be told apart: by its busiest layer (house choice)."""
    events = sum(max((len(layer.values) for layer in cell.layers), default=2) for cell in line.cells)
    return size * (2.0 + 0.38 * events)


def _line_width(line: Line, width: float, size: float) -> float:
    """Bars of a short line are as wide as those of a full one."""
    if line.room >= BARS_PER_LINE:
        return width
    clef = 1.1 * size
    short = clef + (width - clef) * line.room / BARS_PER_LINE
    return min(width, max(short, _needs(line, size)))


def _key(voices: Sequence[str], width: float, size: float) -> _Row:
    """What each written voice is."""
    each = min(20.0, (width - 2 * size) / len(voices))
    staff = engraved(key_mei(voices), width=2 * size + each * len(voices), staff_height=size, last_bars={0: 0})
    room = Room(staff.pieces, height=size, width=width)
    letters = max(LEAST_TEXT_MM, 0.5 * size)
    labels: list[Piece] = []
    for place, voice in enumerate(voices):
        left = staff.places[0][Fraction(place)] + 0.15 * size - text_width(voice, REGULAR, letters) / 2
        labels.append(Label(voice, left, 0.0, letters, REGULAR, "key"))
    room.below(labels, gap=0.25 * size)
    return _Row(room, (), begins=False)


def _groups(rows: Sequence[_Row], first: float, others: float) -> Iterator[list[_Row]]:
    """The rows of each page; a page is left early where a section begins near its end."""
    at, room = 0, first
    while at < len(rows):
        end = at + 1
        while end < len(rows) and _used(rows[at : end + 1]) <= room:
            end += 1
        if end < len(rows):
            starts = [index for index in range(at + 1, end + 1) if rows[index].begins]
            if starts and _used(rows[at : starts[-1]]) >= _FULL * room:
                end = starts[-1]
        yield list(rows[at:end])
        at, room = end, others


def _used(rows: Sequence[_Row]) -> float:
    return sum(row.tall for row in rows) + _BETWEEN * len(rows)


def _page(paper: Paper, rows: Sequence[_Row], head: Sequence[Piece], head_height: float, size: float) -> DrawnPage:
    spare = paper.height - 2 * paper.margin - _FOOT - head_height - _used(rows)
    between = _BETWEEN + max(0.0, min(_ADDED * size, spare / len(rows)))
    pieces = [moved(piece, paper.margin, paper.margin) for piece in head]
    bars: list[BarBox] = []
    y = paper.margin + head_height
    for row in rows:
        top = y + between + row.above
        pieces += [moved(piece, paper.margin, top) for piece in row.room.pieces]
        bars += [replace(one, box=one.box.moved(paper.margin, top)) for one in row.bars]
        y += between + row.tall
    return DrawnPage(paper.width, paper.height, tuple(pieces), tuple(bars), size)


def _page_number(paper: Paper, number: int, pages: int) -> Label:
    text = f"{number} / {pages}"
    size = 3.2
    x = paper.width - paper.margin - text_width(text, REGULAR, size)
    return Label(text, x, paper.height - paper.margin, size, REGULAR, "page")
