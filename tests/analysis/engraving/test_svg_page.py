from xml.etree import ElementTree as ET

import pytest

from analysis.chart.document import Chart
from analysis.chart.roadmap import song_bars
from analysis.engraving.pages import PAPERS, pages_of
from analysis.engraving.svg_page import svg_text
from tests.analysis.chart.by_hand import BY_HAND, straight_rock, waltz
from tests.analysis.chart.charts import ds_al_coda, plain

SVG = "{http://www.w3.org/2000/svg}"


def _svg(chart: Chart, **more: str) -> str:
    page = pages_of(chart, PAPERS["a4"])[0]
    return svg_text(page, title=chart.title, song_bars=song_bars(chart), **more)


def test_every_bar_can_be_found_by_its_number_and_by_the_songs() -> None:
    root = ET.fromstring(_svg(ds_al_coda()))

    bars = {one.get("id"): one for one in root.iter(f"{SVG}g") if one.get("class") == "bar"}
    assert list(bars) == [f"bar-{number}" for number in range(1, 30)]
    assert bars["bar-5"].get("data-song-bars") == "5 13 33"
    assert bars["bar-29"].get("data-song-bars") == "52"
    light = bars["bar-5"][0]
    assert (light.get("class"), light.get("fill")) == ("bar-light", "none")


def test_a_rest_of_several_bars_is_found_by_each_of_them() -> None:
    root = ET.fromstring(_svg(straight_rock()))

    rest = next(one for one in root.iter(f"{SVG}g") if one.get("id") == "bar-1")
    assert (rest.get("data-bars"), rest.get("data-song-bars")) == ("1 2 3 4", "1 2 3 4")


@pytest.mark.parametrize("name", BY_HAND)
def test_no_font_is_needed_and_nothing_is_loaded(name: str) -> None:
    root = ET.fromstring(_svg(BY_HAND[name]()))

    kinds = {one.tag.removeprefix(SVG) for one in root.iter()}
    assert kinds <= {"svg", "title", "defs", "path", "g", "rect", "use"}
    ids = {one.get("id") for one in root.iter()}
    assert {one.get("href", "").removeprefix("#") for one in root.iter(f"{SVG}use")} <= ids


def test_words_can_be_read_aloud() -> None:
    root = ET.fromstring(_svg(waltz()))

    spoken = [one.get("aria-label") for one in root.iter(f"{SVG}g") if one.get("role") == "img"]
    assert "젖은 계단 옆 주전자 · Però là più giù" in spoken


def test_ink_and_paper() -> None:
    plain_page, dark = _svg(ds_al_coda()), _svg(ds_al_coda(), ink="#f2efe6", paper="#15161a")

    assert 'fill="currentColor"' in plain_page.split(">", 1)[0]
    assert ET.fromstring(dark).get("fill") == "#f2efe6"
    assert ET.fromstring(dark).find(f"{SVG}rect").get("fill") == "#15161a"  # type: ignore[union-attr]


def test_a_persons_words_are_data() -> None:
    title = '"><script>alert(1)</script>&'

    text = _svg(Chart(title, (plain('<b a="1">', 4, "</svg>"),)))

    root = ET.fromstring(text)
    assert root.findtext(f"{SVG}title") == title
    assert "<script" not in text


def test_the_same_chart_gives_the_same_bytes() -> None:
    assert _svg(straight_rock()) == _svg(straight_rock())
