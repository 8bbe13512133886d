"""The PDF, read by its structure: page size, embedded fonts, text tables, and the same bytes each time."""

import re
import zlib

import pytest

from analysis.engraving.pages import PAPERS, pages_of
from analysis.engraving.pdf_pages import pdf_bytes
from tests.analysis.chart.by_hand import waltz
from tests.analysis.chart.charts import ds_al_coda

POINTS = 72 / 25.4


@pytest.fixture(scope="module")
def korean() -> bytes:
    return pdf_bytes(pages_of(waltz(), PAPERS["a4"]), title="Wet Stairs Beside Kettle")


def test_the_page_has_its_size_in_points(korean: bytes) -> None:
    boxes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", korean)

    assert len(boxes) == 1
    assert [float(side) for side in boxes[0]] == pytest.approx([210 * POINTS, 297 * POINTS], abs=0.01)


def test_every_font_is_embedded(korean: bytes) -> None:
    names = set(re.findall(rb"/BaseFont /MPDFAA\+([A-Za-z]+)", korean))
    assert names == {b"FiraSans", b"FiraSansBold", b"FiraSansItalic", b"NotoSansKR"}
    assert len(re.findall(rb"/FontFile[23] \d", korean)) == 4


def test_words_are_text_that_can_be_searched(korean: bytes) -> None:
    """Each font carries a table from glyphs to Unicode; the letters of a Korean word are in it."""
    tables = b"".join(_streams(korean))
    for letter in "젖은계단ò":
        assert f"<{ord(letter):04X}>".encode() in tables


def _streams(pdf: bytes) -> list[bytes]:
    found = []
    for body in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL):
        try:
            found.append(zlib.decompress(body))
        except zlib.error:
            found.append(body)
    return found


def test_the_same_pages_give_the_same_bytes() -> None:
    pages = pages_of(ds_al_coda(), PAPERS["letter"])

    assert pdf_bytes(pages, title="x") == pdf_bytes(pages, title="x")


def test_a_dark_page_is_painted_first() -> None:
    content = _streams(pdf_bytes(pages_of(ds_al_coda(), PAPERS["screen"]), title="x", ink="#f2efe6", paper="#15161a"))[
        0
    ]

    painted = re.search(rb"([0-9.]+) ([0-9.]+) ([0-9.]+) rg.*? re f", content, re.DOTALL)
    assert painted
    assert [round(float(part) * 255) for part in painted.groups()] == [0x15, 0x16, 0x1A]
