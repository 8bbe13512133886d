"""The letters and music signs of a chart, and how large they are. No font comes from the system.

Words: Fira Sans (Latin, Greek, Cyrillic; regular, bold, italic), then Noto Sans KR (all of Hangul, kana, many Han
characters; one weight), both under the SIL Open Font License. Scripts written from right to left are in neither, nor
those that join their letters; `not_covered` names what would be printed as a box. Music: the SMuFL font that the
engraver draws with.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import cache
from importlib import resources
from itertools import groupby
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.recordingPen import DecomposingRecordingPen, RecordingPen
from fontTools.svgLib.path import parse_path
from fontTools.ttLib import TTFont

from analysis.engraving.drawn import Box, Label, Piece, Shape, Sign, Steps

REGULAR, BOLD, ITALIC = "regular", "bold", "italic"
MUSIC_FONT = "Bravura"
_ONE_WEIGHT, _BOLDER = "korean", 0.045
# No letters on a page are smaller: 9 points (house choice, read at arm's length of a music stand).
LEAST_TEXT_MM = 9 * 25.4 / 72
MUSIC_UNITS = 1000  # to the em of the engraver's outlines
_FIRA, _KOREAN = "fontpkg_fira_sans", "pylopdf_fonts_ko"
_FILES = {
    REGULAR: (_FIRA, "files/FiraSans-Regular.ttf"),
    BOLD: (_FIRA, "files/FiraSans-Bold.ttf"),
    ITALIC: (_FIRA, "files/FiraSans-Italic.ttf"),
    "korean": (_KOREAN, "NotoSansKR-Regular.otf"),
}


def font_path(font: str) -> Path:
    package, name = _FILES[font]
    return Path(str(resources.files(package))) / name


@cache
def _font(font: str) -> TTFont:
    return TTFont(font_path(font), lazy=True)


@cache
def _glyphs(font: str) -> tuple[dict[int, str], Any, int]:
    """Glyph names by character, the glyphs, and units to the em."""
    opened = _font(font)
    return opened.getBestCmap(), opened.getGlyphSet(), opened["head"].unitsPerEm


def _font_of(character: str, style: str) -> str:
    for font in (style, "korean"):
        if ord(character) in _glyphs(font)[0]:
            return font
    return style


def composed(text: str) -> str:
    """Letters with their accents in one character, where there is one: a file name's `e` and accent become `è`."""
    return unicodedata.normalize("NFC", text)


def not_covered(text: str) -> str:
    """The characters that no font of ours has, each once."""
    lost = dict.fromkeys(
        character
        for character in composed(text)
        if ord(character) not in _glyphs(_font_of(character, REGULAR))[0] and not character.isspace()
    )
    return "".join(lost)


def runs(text: str, style: str) -> Iterator[tuple[str, str]]:
    """The text in stretches of one font."""
    for font, letters in groupby(composed(text), key=lambda character: _font_of(character, style)):
        yield font, "".join(letters)


def outline_width(font: str, style: str) -> float:
    """How wide a line is drawn around letters of a font that has no bold, so that a bold word is bold in it too: in ems
    (house choice)."""
    return _BOLDER if style == BOLD and font == _ONE_WEIGHT else 0.0


def text_width(text: str, style: str, size: float) -> float:
    return sum(_advance(font, character) for font, part in runs(text, style) for character in part) * size


@cache
def _advance(font: str, character: str) -> float:
    names, glyphs, units = _glyphs(font)
    return float(glyphs[names.get(ord(character), ".notdef")].width) / units


@cache
def letter_steps(font: str, character: str) -> tuple[Steps, float]:
    """The outline of a letter in ems, y downwards, and how far it leads."""
    names, glyphs, units = _glyphs(font)
    pen = DecomposingRecordingPen(glyphs)
    glyphs[names.get(ord(character), ".notdef")].draw(pen)
    return _scaled(pen.value, 1 / units, -1 / units), _advance(font, character)


@cache
def sign_steps(code: str) -> Steps:
    """The outline of a music sign in ems, y downwards."""
    text = (resources.files("verovio") / "data" / MUSIC_FONT / f"{code}.xml").read_text("utf-8")
    pen = RecordingPen()
    for path in ET.fromstring(text).iter("path"):  # noqa: S314 - a file of the engraver's package
        parse_path(path.get("d", ""), pen)
    return _scaled(pen.value, 1 / MUSIC_UNITS, -1 / MUSIC_UNITS)


def _scaled(steps: Any, across: float, down: float) -> Steps:
    return tuple(
        (name, tuple((x * across, y * down) for x, y in points)) for name, points in steps if name != "endPath"
    )


@cache
def sign_box(code: str) -> Box:
    """In ems, from the origin."""
    return _box_of(sign_steps(code))


def _box_of(steps: Steps) -> Box:
    pen = BoundsPen(None)
    for name, points in steps:
        getattr(pen, name)(*points)
    if pen.bounds is None:  # a path of points only
        spots = [point for _, some in steps for point in some] or [(0.0, 0.0)]
        xs, ys = [x for x, _ in spots], [y for _, y in spots]
        return Box(min(xs), min(ys), max(xs), max(ys))
    return Box(*pen.bounds)


# How far letters reach above and below their base line, in ems: capitals with an accent, and a g (house choices that
# hold both fonts).
_ABOVE, _BELOW = 0.86, 0.22


def box_of(piece: Piece) -> Box:
    if isinstance(piece, Sign):
        box = sign_box(piece.code)
        em = piece.em
        return Box(box.left * em, box.top * em, box.right * em, box.bottom * em).moved(piece.x, piece.y)
    if isinstance(piece, Shape):
        box, half = _box_of(_closed(piece)), (piece.width or 0) / 2
        return Box(box.left - half, box.top - half, box.right + half, box.bottom + half)
    width = text_width(piece.text, piece.style, piece.size)
    return Box(piece.x, piece.y - _ABOVE * piece.size, piece.x + width, piece.y + _BELOW * piece.size)


def _closed(piece: Shape) -> Steps:
    return piece.steps if piece.steps[-1][0] == "closePath" else (*piece.steps, ("endPath", ()))


def label_width(label: Label) -> float:
    return text_width(label.text, label.style, label.size)
