"""Finding room above and below a line: each thing is put as near to the staff as what already lies there allows.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from analysis.engraving.drawn import Box, Label, Piece, around, moved
from analysis.engraving.fonts import box_of, text_width

_BESIDE = 0.6  # millimetres that are kept free at the sides (house choice)


class Room:
    """What lies along one line, with y 0 at the staff's top line and `height` at its bottom line."""

    def __init__(self, pieces: Iterable[Piece], *, height: float, width: float) -> None:
        self.pieces: list[Piece] = list(pieces)
        self.height, self.width = height, width
        self._boxes = [box_of(piece) for piece in self.pieces]

    @property
    def extent(self) -> Box:
        return around([*self._boxes, Box(0.0, 0.0, self.width, self.height)])

    def above(self, pieces: Iterable[Piece], *, gap: float) -> None:
        """Put a group, kept together, above the staff. What is too far right is moved left first."""
        group = self._inside(list(pieces))
        box = around(box_of(piece) for piece in group)
        limit = min([0.0, *(one.top for one in self._beside(box))])
        self._add([moved(piece, 0.0, limit - gap - box.bottom) for piece in group])

    def below(self, pieces: Iterable[Piece], *, gap: float) -> None:
        group = self._inside(list(pieces))
        box = around(box_of(piece) for piece in group)
        limit = max([self.height, *(one.bottom for one in self._beside(box))])
        self._add([moved(piece, 0.0, limit + gap - box.top) for piece in group])

    def put(self, *pieces: Piece) -> None:
        """Exactly where they are."""
        self._add(list(pieces))

    def _add(self, pieces: list[Piece]) -> None:
        self.pieces += pieces
        self._boxes += [box_of(piece) for piece in pieces]

    def _beside(self, box: Box) -> list[Box]:
        return [one for one in self._boxes if one.left < box.right + _BESIDE and one.right > box.left - _BESIDE]

    def _inside(self, group: list[Piece]) -> list[Piece]:
        box = around(box_of(piece) for piece in group)
        over = min(max(0.0, box.right - self.width), max(0.0, box.left))
        return [moved(piece, -over, 0.0) for piece in group] if over else group


def wrapped(label: Label, width: float) -> list[Label]:
    """The label in as many lines as it takes, the last on its base line; a word that is too long is made smaller."""
    lines: list[str] = []
    for word in label.text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(joined, label.style, label.size) <= width:
            lines[-1] = joined
        else:
            lines.append(word)
    widest = max((text_width(line, label.style, label.size) for line in lines), default=0.0)
    size = label.size * min(1.0, width / widest) if widest else label.size
    step = size * 1.15
    return [
        replace(label, text=line, size=size, y=label.y - step * (len(lines) - 1 - index))
        for index, line in enumerate(lines)
    ]
