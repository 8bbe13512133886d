"""What a page is made of once it is engraved: music signs, shapes and words, in millimetres, y downwards.

Each piece knows the written bar it belongs to, if any, so that a page can light it. SVG and PDF draw the same pieces.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

# Path steps as fontTools records them: ("moveTo", ((x, y),)), "lineTo", "curveTo" with three points, "closePath".
Steps = tuple[tuple[str, tuple[tuple[float, float], ...]], ...]


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)

    def overlaps(self, other: Box, *, slack: float = 0.0) -> bool:
        """Whether two boxes share more than `slack` millimetres both ways."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across > slack and down > slack


@dataclass(frozen=True)
class Sign:
    """A glyph of the music font at its origin; `em` is four staff spaces."""

    code: str
    x: float
    y: float
    em: float
    bar: int | None = None


@dataclass(frozen=True)
class Shape:
    """A line of some width, or a filled outline (`width` None)."""

    steps: Steps
    width: float | None = None
    bar: int | None = None


@dataclass(frozen=True)
class Label:
    """Words from `x` on, on the base line `y`. `role` says what they are ("title", "words", "number" ...)."""

    text: str
    x: float
    y: float
    size: float
    style: str = "regular"
    role: str = "words"
    bar: int | None = None


Piece = Sign | Shape | Label


@dataclass(frozen=True)
class BarBox:
    """Where the printed bars from `first` to `last` lie: the staff from bar line to bar line."""

    first: int
    last: int
    box: Box


@dataclass(frozen=True)
class DrawnPage:
    width: float
    height: float
    pieces: tuple[Piece, ...]
    bars: tuple[BarBox, ...]
    staff_height: float


def moved(piece: Piece, dx: float, dy: float) -> Piece:
    if isinstance(piece, Shape):
        steps = tuple((name, tuple((x + dx, y + dy) for x, y in points)) for name, points in piece.steps)
        return replace(piece, steps=steps)
    return replace(piece, x=piece.x + dx, y=piece.y + dy)


def rule(x1: float, y1: float, x2: float, y2: float, width: float, bar: int | None = None) -> Shape:
    return Shape((("moveTo", ((x1, y1),)), ("lineTo", ((x2, y2),))), width, bar)


def frame(box: Box, width: float) -> Shape:
    corners = ((box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom))
    lines = tuple(("lineTo", (corner,)) for corner in corners[1:])
    return Shape((("moveTo", (corners[0],)), *lines, ("closePath", ())), width)


def around(boxes: Iterable[Box]) -> Box:
    every = list(boxes)
    return Box(
        min(one.left for one in every),
        min(one.top for one in every),
        max(one.right for one in every),
        max(one.bottom for one in every),
    )
