"""Beats as players count them, on the page as in `analysis.chart.beats.counted`."""

from __future__ import annotations

from fractions import Fraction

import pytest
from playwright.sync_api import Page

from analysis.chart.beats import beat_json, counted
from analysis.maps.tempo_map import MeterSign
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

METERS = {"4/4": ("1", "5/4", "3/2", "7/4", "10/3", "14/3"), "6/8": ("1", "6", "5/2"), "2/2": ("1", "3/2", "9/4")}


@pytest.mark.parametrize("meter", METERS)
def test_the_page_and_the_engine_count_alike(ready: Page, meter: str) -> None:
    sign = MeterSign.parse(meter)
    for beat in METERS[meter]:
        place = Fraction(beat)
        words = counted(place, sign)
        assert ask(ready, "chart/counting", "m.counted(given[0], given[1])", meter, beat_json(place)) == words
        back = ask(ready, "chart/counting", "m.beatsIn(given[0], given[1])", meter, words)
        assert [Fraction(one) for one in back] == [place]


def test_in_a_sentence(ready: Page) -> None:
    said = [("4/4", 1.75, "the a of 1"), ("4/4", "11/3", "the let of 3"), ("4/4", 2, "beat 2"), ("6/8", 5, "beat 5")]
    for meter, beat, words in said:
        assert ask(ready, "chart/counting", "m.countedWords(given[0], given[1])", meter, beat) == words


@pytest.mark.parametrize("typed", ["5", "0", "x", "1b", "1&e"])
def test_what_is_no_place_of_the_bar_is_none(ready: Page, typed: str) -> None:
    assert ask(ready, "chart/counting", "m.beatsIn(given[0], given[1])", "4/4", typed) is None


def test_a_list_is_read_however_it_is_parted(ready: Page) -> None:
    assert ask(ready, "chart/counting", "m.beatsIn(given[0], given[1])", "4/4", "1, 1a;2 &  3 trip") == [
        1, 1.75, 2.5, "10/3",
    ]  # fmt: skip
