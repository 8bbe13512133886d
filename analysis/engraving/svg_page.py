"""A drawn page as SVG, whole in itself: letters and signs are outlines, so that no font is needed where it is shown.

Each printed bar is `<g id="bar-12" class="bar" data-bars="12" data-song-bars="12 40">` with a first `<rect>` of class
`bar-light` (invisible until a page gives it a fill) over its staff: a page lights a bar and finds it under a pointer by
these. Words keep their text in `aria-label`. The ink is `currentColor`, so that a page decides it, unless a colour is
given.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from xml.etree import ElementTree as ET

from analysis.core.units import in_figures
from analysis.engraving.drawn import BarBox, DrawnPage, Label, Piece, Shape, Sign, Steps
from analysis.engraving.fonts import letter_steps, outline_width, runs, sign_steps

_LETTERS = {"moveTo": "M", "lineTo": "L", "curveTo": "C", "qCurveTo": "Q", "closePath": "Z"}


def svg_text(
    page: DrawnPage,
    *,
    title: str,
    song_bars: Mapping[int, Sequence[int]],
    ink: str = "currentColor",
    paper: str | None = None,
) -> str:
    """`ink` and `paper` are colours of ours, never a person's words; without `paper` the page is transparent."""
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{_short(page.width)}mm",
            "height": f"{_short(page.height)}mm",
            "viewBox": f"0 0 {_short(page.width)} {_short(page.height)}",
            "role": "img",
            "fill": ink,
            "color": ink,
        },
    )
    ET.SubElement(root, "title").text = title
    used = sorted({piece.code for piece in page.pieces if isinstance(piece, Sign)})
    definitions = ET.SubElement(root, "defs")
    for code in used:
        ET.SubElement(definitions, "path", {"id": f"sign-{code}", "d": _path(sign_steps(code))})
    if paper:
        ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": paper})
    for bar in page.bars:
        root.append(_bar(bar, (piece for piece in page.pieces if _of(piece, bar)), song_bars))
    inside = {number for bar in page.bars for number in range(bar.first, bar.last + 1)}
    for piece in page.pieces:
        if piece.bar not in inside:
            root.append(_drawn(piece))
    return ET.tostring(root, encoding="unicode") + "\n"


def _of(piece: Piece, bar: BarBox) -> bool:
    return piece.bar is not None and bar.first <= piece.bar <= bar.last


def _bar(bar: BarBox, pieces: Iterable[Piece], song_bars: Mapping[int, Sequence[int]]) -> ET.Element:
    numbers = range(bar.first, bar.last + 1)
    group = ET.Element(
        "g",
        {
            "id": f"bar-{bar.first}",
            "class": "bar",
            "data-bars": " ".join(str(number) for number in numbers),
            "data-song-bars": " ".join(str(song) for number in numbers for song in song_bars.get(number, ())),
        },
    )
    box = bar.box
    light = {"x": box.left, "y": box.top, "width": box.right - box.left, "height": box.bottom - box.top}
    ET.SubElement(
        group, "rect", {"class": "bar-light", "fill": "none", **{key: _short(value) for key, value in light.items()}}
    )
    group.extend(_drawn(piece) for piece in pieces)
    return group


def _drawn(piece: Piece) -> ET.Element:
    if isinstance(piece, Sign):
        place = f"translate({_short(piece.x)} {_short(piece.y)}) scale({_short(piece.em)})"
        return ET.Element("use", {"href": f"#sign-{piece.code}", "transform": place})
    if isinstance(piece, Shape):
        return _shape(piece)
    return _label(piece)


def _shape(piece: Shape) -> ET.Element:
    if piece.width is None:
        return ET.Element("path", {"d": _path(piece.steps)})
    line = {"fill": "none", "stroke": "currentColor", "stroke-width": _short(piece.width)}
    return ET.Element("path", {"d": _path(piece.steps), **line})


def _label(piece: Label) -> ET.Element:
    group = ET.Element("g", {"class": f"words {piece.role}", "role": "img", "aria-label": piece.text})
    x = piece.x
    for font, part in runs(piece.text, piece.style):
        width = outline_width(font, piece.style)
        bolder = {"stroke": "currentColor", "stroke-width": _short(width)} if width else {}
        for character in part:
            steps, advance = letter_steps(font, character)
            if steps:
                place = f"translate({_short(x)} {_short(piece.y)}) scale({_short(piece.size)})"
                ET.SubElement(group, "path", {"d": _path(steps), "transform": place, **bolder})
            x += advance * piece.size
    return group


def _path(steps: Steps) -> str:
    return "".join(_step(name, points) for name, points in steps)


def _step(name: str, points: Sequence[tuple[float, float]]) -> str:
    if name == "qCurveTo":
        return "".join(_LETTERS[name] + _pairs(pair) for pair in _quadratics(points))
    return _LETTERS[name] + _pairs(points)


def _quadratics(points: Sequence[tuple[float, float]]) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """A TrueType curve: between two of its points off the curve lies one on it, half way."""
    *off, end = points
    between = [((ax + bx) / 2, (ay + by) / 2) for (ax, ay), (bx, by) in pairwise(off)]
    return list(zip(off, [*between, end], strict=True))


def _pairs(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{_short(x)} {_short(y)}" for x, y in points)


def _short(value: float) -> str:
    return in_figures(value, 4)
