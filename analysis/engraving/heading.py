"""What stands over a chart: title, artist, tempo with its note, feel, count-in, and which version it is.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.chart.document import FEELS, Chart
from analysis.engraving.drawn import Label, Piece, around, moved
from analysis.engraving.fonts import BOLD, ITALIC, REGULAR, box_of, label_width
from analysis.engraving.placing import wrapped
from analysis.engraving.tempo_mark import tempo_mark

# Millimetres (house choices).
_TITLE, _ARTIST, _LINE, _NOTE = 8.0, 4.6, 4.6, 3.4
_GAP = 2.0
_UNTITLED = "Untitled"


@dataclass(frozen=True)
class Heading:
    pieces: tuple[Piece, ...]
    height: float


def heading(chart: Chart, *, width: float, note: str = "", first: bool = True) -> Heading:
    """On later pages the title alone, smaller."""
    if not first:
        return _stacked([_row(Label(chart.title or _UNTITLED, 0, 0, _ARTIST, BOLD, "title"), _right(note), width)])
    title = wrapped(Label(chart.title or _UNTITLED, 0, 0, _TITLE, BOLD, "title"), width)
    rows: list[list[Piece]] = [list(title)]
    if chart.artist or note:
        rows.append(_row(Label(chart.artist, 0, 0, _ARTIST, ITALIC, "artist"), _right(note), width))
    rows.append(_playing(chart, width))
    return _stacked([row for row in rows if row])


def _right(text: str) -> Label:
    return Label(text, 0, 0, _NOTE, REGULAR, "version")


def _row(left: Label, right: Label, width: float) -> list[Piece]:
    """Both on one base line where they fit side by side, else the right one below."""
    if not right.text:
        return list(wrapped(left, width)) if left.text else []
    across = label_width(right)
    x = max(0.0, width - across)
    if not left.text:
        return list(wrapped(replace(right, x=x), width))
    if label_width(left) + across + 5 <= width:
        return [left, replace(right, x=x)]
    rows: list[list[Piece]] = [list(wrapped(left, width)), list(wrapped(replace(right, x=x), width))]
    return list(_stacked(rows).pieces)


def _playing(chart: Chart, width: float) -> list[Piece]:
    """Tempo, feel, words about it, count-in."""
    pieces: list[Piece] = []
    x = 0.0
    if chart.tempo:
        pieces += tempo_mark(chart.tempo, chart.sections[0].bars[0].meter, 0.0, _LINE)
        x = around(box_of(piece) for piece in pieces).right + 4
    count = f"count-in {chart.count_in} bar{'s' if chart.count_in > 1 else ''}" if chart.count_in else ""
    feel = chart.feel if chart.feel != FEELS[0] else ""
    words = ", ".join(text for text in (feel, chart.words, count) if text)
    if not words:
        return pieces
    label = Label(words, x, 0, _LINE, REGULAR, "feel")
    if label_width(label) <= width - x:
        return [*pieces, label]
    below: list[Piece] = list(wrapped(replace(label, x=0.0), width))
    return list(_stacked([pieces, below] if pieces else [below]).pieces)


def _stacked(rows: list[list[Piece]]) -> Heading:
    pieces: list[Piece] = []
    y = 0.0
    for row in rows:
        box = around(box_of(piece) for piece in row)
        pieces += [moved(piece, 0.0, y - box.top) for piece in row]
        y += box.bottom - box.top + _GAP / 2
    return Heading(tuple(pieces), y)
