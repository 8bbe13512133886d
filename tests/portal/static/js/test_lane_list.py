"""Names beside the lanes: what tells them apart is seen first, in a column of some ten letters."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show
from tests.portal.static.js.test_sums import ask

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("names", "short"),
    [
        (["copper-wire_bass.wav", "copper-wire_keys.wav"], ["bass", "keys"]),
        (["copper-wire_bass.wav", "copper-wire_bass 2.wav"], ["bass", "bass 2"]),
        (["Song 01 Keys.wav", "Song 02 Keys.flac"], ["01 Keys.wav", "02 Keys.flac"]),
        (["bass.wav", "keys.wav"], ["bass", "keys"]),
        (["mix.wav"], ["mix.wav"]),
        (["a_.wav", "a_b.wav"], ["a_.wav", "a_b.wav"]),
    ],
)
def test_names_say_what_tells_them_apart(page: Page, show: Show, names: list[str], short: list[str]) -> None:
    show("")
    assert ask(page, "lane-list", "m.shortNames(given[0])", names) == short
