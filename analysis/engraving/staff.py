"""One line of a chart through the engraver: MEI to the pieces of its staff, in millimetres from the staff's top left.

verovio is native code. It is given MEI that we wrote, with none of a person's words in it, and its SVG is read for what
it draws: signs, lines, beams, dots. Everything with words is placed by `marks.py`.

Tested by tests/analysis/engraving/test_pages.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import parse_path

from analysis.core.errors import ChartError
from analysis.engraving.drawn import BarBox, Box, Piece, Shape, Sign
from analysis.engraving.fonts import MUSIC_FONT

# The engraver's own units: a staff of five lines is this high.
STAFF_UNITS = 720
_UNIT = 9  # half a staff space, as the engraver counts it
_TALLEST = 60_000
# How large small notes are beside the others: the band's hits are read from a metre (house choice); where grace notes
# stand beside their own, as small as the engraver has them.
_CUES, _GRACE = 0.9, 0.75
_SVG, _LINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}href"
_NUMBERS = re.compile(r"-?\d+(?:\.\d+)?")
_SKIPPED = frozenset({"mNum", "systemMilestone", "pageMilestone", "cue", "section"})

_OF_A_STAFF = ("clef", "meterSig")  # not repeated at the hits


@dataclass(frozen=True)
class Staff:
    """Pieces with y 0 at the top line. `places` are the x of what begins in each bar, by quarters from its bar line."""

    pieces: tuple[Piece, ...]
    bars: tuple[BarBox, ...]
    places: dict[int, dict[Fraction, float]]
    width: float


def engraved(mei: str, *, width: float, staff_height: float, last_bars: dict[int, int]) -> Staff:
    """`last_bars` gives the last written bar of each printed one by its first."""
    scale = staff_height / STAFF_UNITS
    toolkit = _toolkit()
    small = _GRACE if ' grace="' in mei else _CUES
    toolkit.setOptions({**_options(round(width / scale / 10)), "graceFactor": small})
    if not toolkit.loadData(mei):
        raise ChartError("the chart could not be engraved")
    root = ET.fromstring(toolkit.renderToSVG(1))  # noqa: S314 - written by the engraver from our own MEI
    return _Reader(root, scale).staff(last_bars)


@cache
def _toolkit() -> Any:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    # Its own default path is known only to the thread that imported it first: elsewhere it finds no fonts.
    toolkit = verovio.toolkit(initFont=False)
    toolkit.setResourcePath(str(files("verovio") / "data"))
    return toolkit


def _options(page_width: int) -> dict[str, Any]:
    return {
        "pageWidth": page_width,
        "pageHeight": _TALLEST,
        "adjustPageHeight": True,
        "scale": 100,
        "unit": _UNIT,
        "breaks": "encoded",
        "header": "none",
        "footer": "none",
        "font": MUSIC_FONT,
        "svgViewBox": True,
        "mnumInterval": 0,
        "multiRestStyle": "block",
        "minLastJustification": 0,
        "xmlIdSeed": 1,
        **{f"pageMargin{side}": 0 for side in ("Left", "Right", "Top", "Bottom")},
    }


class _Reader:
    def __init__(self, root: ET.Element, scale: float) -> None:
        self.root, self.scale = root, scale
        self.top = self.left = 0.0
        self.places: dict[int, dict[Fraction, float]] = {}

    def staff(self, last_bars: dict[int, int]) -> Staff:
        measures = [one for one in self.root.iter(f"{_SVG}g") if one.get("class") == "measure"]
        lines = [_numbers(path.get("d", "")) for path in _staff_lines(measures[0])]
        self.left, self.top = lines[0][0], lines[0][1]
        pieces = [piece for one in self._groups(measures) for piece in one]
        boxes = tuple(self._bar_box(one, last_bars) for one in measures)
        return Staff(tuple(pieces), boxes, self.places, boxes[-1].box.right)

    def _groups(self, measures: Sequence[ET.Element]) -> Iterator[list[Piece]]:
        for measure in measures:
            yield list(self._pieces(measure, _bar_number(measure)))

    def _pieces(self, node: ET.Element, bar: int) -> Iterator[Piece]:
        kinds = set((node.get("class") or "").split())
        if kinds & _SKIPPED:
            return
        self._note_place(node)
        yield from self._own(node, bar)
        bare = "staff" in kinds and not _lines(node)
        for child in node:
            if not (bare and child.get("class") in _OF_A_STAFF):
                yield from self._pieces(child, bar)

    def _own(self, node: ET.Element, bar: int) -> Iterator[Piece]:
        drawing: dict[str, Callable[[ET.Element, int], Piece]] = {
            "use": self._sign,
            "path": self._path,
            "polygon": self._polygon,
            "polyline": self._polygon,
            "rect": self._rect,
        }
        name = node.tag.removeprefix(_SVG)
        if name in drawing:
            yield drawing[name](node, bar)
        elif name == "ellipse":
            yield self._dot(node, bar)

    def _sign(self, node: ET.Element, bar: int) -> Sign:
        x, y, scale, _ = _numbers(node.get("transform", ""))
        code = node.get(_LINK, "").lstrip("#").partition("-")[0]
        return Sign(code, self._x(x), self._y(y), scale * 1000 * self.scale, bar)

    def _path(self, node: ET.Element, bar: int) -> Shape:
        pen = RecordingPen()
        parse_path(node.get("d", ""), pen)
        width = node.get("stroke-width")
        filled = node.get("fill") != "none" and any(name == "curveTo" for name, _ in pen.value)
        steps = tuple((name, self._points(points)) for name, points in pen.value if name != "endPath")
        return Shape(steps, None if filled or width is None else float(width) * self.scale, bar)

    def _polygon(self, node: ET.Element, bar: int) -> Shape:
        numbers = _numbers(node.get("points", ""))
        points = self._points(list(zip(numbers[::2], numbers[1::2], strict=True)))
        lines = tuple(("lineTo", (point,)) for point in points[1:])
        open_line = node.tag == f"{_SVG}polyline"
        width = float(node.get("stroke-width", "13")) * self.scale if open_line else None
        closing = () if open_line else (("closePath", ()),)
        return Shape((("moveTo", (points[0],)), *lines, *closing), width, bar)

    def _rect(self, node: ET.Element, bar: int) -> Shape:
        x, y, across, down = (float(node.get(name, "0")) for name in ("x", "y", "width", "height"))
        corners = self._points([(x, y), (x + across, y), (x + across, y + down), (x, y + down)])
        lines = tuple(("lineTo", (corner,)) for corner in corners[1:])
        return Shape((("moveTo", (corners[0],)), *lines, ("closePath", ())), None, bar)

    def _dot(self, node: ET.Element, bar: int) -> Shape:
        x, y, across, down = (float(node.get(name, "0")) for name in ("cx", "cy", "rx", "ry"))
        bend = 4 / 3 * (2**0.5 - 1)  # the Bezier curve nearest to a quarter circle
        corners = [(1, 0), (0, 1), (-1, 0), (0, -1), (1, 0)]
        steps: list[tuple[str, tuple[tuple[float, float], ...]]] = [("moveTo", self._points([(x + across, y)]))]
        for (ax, ay), (bx, by) in pairwise(corners):
            curve = [(ax + bend * bx, ay + bend * by), (bx + bend * ax, by + bend * ay), (bx, by)]
            steps.append(("curveTo", self._points([(x + across * cx, y + down * cy) for cx, cy in curve])))
        return Shape((*steps, ("closePath", ())), None, bar)

    def _note_place(self, node: ET.Element) -> None:
        """Ids of what begins somewhere: `e-BAR-LAYER-QUARTERS` (`mei.event_id`)."""
        name = node.get("id") or ""
        if not name.startswith("e-"):
            return
        sign = next((one for one in node.iter(f"{_SVG}use")), None)
        if sign is not None:
            _, bar, _, upper, lower = name.split("-")
            place = Fraction(int(upper), int(lower))
            x = self._x(_numbers(sign.get("transform", ""))[0])
            known = self.places.setdefault(int(bar), {})
            known[place] = min(known.get(place, x), x)

    def _bar_box(self, measure: ET.Element, last_bars: dict[int, int]) -> BarBox:
        number = _bar_number(measure)
        left, _, right, _ = _numbers(_staff_lines(measure)[0].get("d", ""))
        height = STAFF_UNITS * self.scale
        return BarBox(number, last_bars[number], Box(self._x(left), 0.0, self._x(right), height))

    def _points(self, points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((self._x(x), self._y(y)) for x, y in points)

    def _x(self, x: float) -> float:
        return (x - self.left) * self.scale

    def _y(self, y: float) -> float:
        return (y - self.top) * self.scale


def _numbers(text: str) -> list[float]:
    return [float(number) for number in _NUMBERS.findall(text)]


def _bar_number(measure: ET.Element) -> int:
    return int((measure.get("id") or "").removeprefix("bar-"))


def _staff_lines(measure: ET.Element) -> list[ET.Element]:
    """Of the staff that has lines; that of the hits has none."""
    staves = [one for one in measure.iter(f"{_SVG}g") if one.get("class") == "staff"]
    return next(lines for staff in staves if (lines := _lines(staff)))


def _lines(staff: ET.Element) -> list[ET.Element]:
    return [child for child in staff if child.tag == f"{_SVG}path"][:5]
