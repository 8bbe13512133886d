"""Names beside the lanes: what tells them apart is seen first, in a column of some ten letters."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("names", "short"),
    [
        (["damp-receipt_bass.wav", "damp-receipt_keys.wav"], ["bass", "keys"]),
        (["damp-receipt_bass.wav", "damp-receipt_bass 2.wav"], ["bass", "bass 2"]),
        (["Song 01 Keys.wav", "Song 02 Keys.flac"], ["01 Keys.wav", "02 Keys.flac"]),
        (["bass.wav", "keys.wav"], ["bass", "keys"]),
        (["mix.wav"], ["mix.wav"]),
        (["a_.wav", "a_b.wav"], ["a_.wav", "a_b.wav"]),
    ],
)
def test_names_say_what_tells_them_apart(ready: Page, names: list[str], short: list[str]) -> None:
    assert ask(ready, "lanes/list", "m.shortNames(given[0])", names) == short


def test_a_level_is_said_in_decibels(page: Page, show: Show) -> None:
    """20 log 1.5 is 3.52, 20 log 0.5 is -6.02."""
    show("<ul data-lanes></ul>")
    ask(
        page,
        "lanes/list",
        "void new m.LaneList(document.querySelector('[data-lanes]'), [{ name: 'bass.wav' }], () => {})",
    )
    level = page.get_by_label("Level of bass.wav")
    said = []
    for gain in (1, 1.5, 0.5, 0):
        level.fill(str(gain))
        said.append((level.get_attribute("aria-valuetext"), level.get_attribute("title")))
    assert said == [(text, text) for text in ("0 dB", "+3.5 dB", "−6 dB", "off")]


def test_the_bottom_of_the_playing_level_is_off(ready: Page) -> None:
    levels_db = {-48: "off", -47: "−47 dB", -18: "−18 dB", 0: "0 dB"}
    assert ask(ready, "lib/level", "given[0].map(m.levelText)", list(levels_db)) == list(levels_db.values())
