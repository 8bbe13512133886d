"""One way to every form of a chart. The same chart and look give the same bytes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from analysis.chart.checks import half_repeats
from analysis.chart.document import SLASHES, Chart
from analysis.chart.roadmap import song_bars
from analysis.core.texts import clean_text
from analysis.engraving.mei_score import mei_text
from analysis.engraving.musicxml import musicxml_text
from analysis.engraving.pages import PAPERS, pages_of
from analysis.engraving.pdf_pages import pdf_bytes
from analysis.engraving.svg_page import svg_text

PAGES = tuple(PAPERS)
FORMATS = ("pdf", "svg", "musicxml", "mei")
# Ink and paper of a page beside the kit, in a dark room (house choice; 15.7:1).
_DARK_INK, _DARK_PAPER = "#f2efe6", "#15161a"


@dataclass(frozen=True)
class Look:
    """`page` is one of `PAGES`; `note` is printed in the heading (a version, a date)."""

    page: str = "a4"
    dark: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "note", clean_text(self.note))


PRINT = Look()


def engrave(chart: Chart, form: str, look: Look = PRINT) -> tuple[bytes, ...]:
    """The chart in one of `FORMATS`: an SVG for each page, otherwise one file. Half of a two-bar repeat is slashes."""
    chart = _without_half_repeats(chart)
    if form == "svg":
        return tuple(page.encode() for page in svg_pages(chart, look))
    if form == "pdf":
        pages = pages_of(chart, PAPERS[look.page], note=look.note)
        colours = {"ink": _DARK_INK, "paper": _DARK_PAPER} if look.dark else {}
        return (pdf_bytes(pages, title=chart.title, **colours),)
    return ({"musicxml": musicxml_text, "mei": mei_text}[form](chart).encode(),)


def _without_half_repeats(chart: Chart) -> Chart:
    lone, number, sections = set(half_repeats(chart)), 0, []
    for section in chart.sections:
        numbered = enumerate(section.bars, number + 1)
        bars = tuple(replace(bar, shows=SLASHES) if at in lone else bar for at, bar in numbered)
        sections.append(replace(section, bars=bars))
        number += len(section.bars)
    return replace(chart, sections=tuple(sections))


def svg_pages(chart: Chart, look: Look = PRINT) -> tuple[str, ...]:
    """Each page with its bars addressed by their written numbers and by the song's. Light pages take the page's ink."""
    played = song_bars(chart)
    colours = {"ink": _DARK_INK, "paper": _DARK_PAPER} if look.dark else {}
    pages = pages_of(chart, PAPERS[look.page], note=look.note)
    return tuple(svg_text(page, title=chart.title, song_bars=played, **colours) for page in pages)
