"""Edits of a tempo map. 120 BPM in 4/4 from 1 s on: a bar is 2 s."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

BARS = [{"bar": bar, "time_s": 2.0 * bar - 1, "beats": 4} for bar in range(1, 21)]


def anchor(bar: int, time_s: float, **others: Any) -> dict[str, Any]:
    return {"bar": bar, "time_s": time_s, "meter": "4/4", "ramps": False} | others


def state(*anchors: dict[str, Any]) -> dict[str, Any]:
    return {"anchors": list(anchors) or [anchor(1, 1.0)], "last_bpm": "120"}


def shape(made: dict[str, Any]) -> list[tuple[int, float, bool]]:
    return [(one["bar"], one["time_s"], one.get("free", False)) for one in made["anchors"]]


def test_a_bar_is_here(ready: Page) -> None:
    assert shape(ask(ready, "map/edits", "m.barAt(...given)", state(), 5, 9.1)) == [(1, 1.0, False), (5, 9.1, False)]
    assert shape(ask(ready, "map/edits", "m.barAt(...given)", state(), 1, 1.2)) == [(1, 1.2, False)]
    assert ask(ready, "map/edits", "m.barAt(...given)", state(), 5, 0.5) == state()  # before bar one it cannot be


def test_bars_are_made_free_and_what_follows_stays_on_the_grid(ready: Page) -> None:
    made = ask(ready, "map/edits", "m.freed(...given)", state(anchor(1, 1.0), anchor(6, 11.0)), 4, 7, BARS)
    assert shape(made) == [(1, 1.0, False), (4, 7.0, True), (6, 11.0, True), (8, 15.0, False)]
    to_the_end = ask(ready, "map/edits", "m.freed(...given)", state(), 18, 20, BARS)
    assert shape(to_the_end) == [(1, 1.0, False), (18, 35.0, True)]


@pytest.mark.parametrize(("first", "last"), [(7, 4), (99, 120), (0.5, 3)])
def test_bars_that_are_none_are_not_made_free(ready: Page, first: float, last: float) -> None:
    assert ask(ready, "map/edits", "m.freed(...given)", state(), first, last, BARS) == state()


def test_an_anchor_set_in_a_free_passage_does_not_end_it(ready: Page) -> None:
    free = state(anchor(1, 1.0), anchor(4, 7.0, free=True), anchor(8, 15.0))
    assert (5, 9.3, True) in shape(ask(ready, "map/edits", "m.added(...given)", free, 5, 9.3))
    ended = ask(ready, "map/edits", "m.freeing(...given)", free, 1, False)
    assert shape(ended) == [(1, 1.0, False), (4, 7.0, False), (8, 15.0, False)]


def test_bars_before_the_first_line_run_on_and_later_ones_end(ready: Page) -> None:
    found = ask(ready, "map/edits", "[0, -1, 20, 21, 1.5].map((bar) => m.lineOf(given[0], bar)?.time_s ?? null)", BARS)
    assert found == [-1.0, -3.0, 39.0, None, None]
    assert ask(ready, "map/edits", "[0, 3.9, 4.1, 99].map((at) => m.nearestLine(given[0], at).bar)", BARS) == [
        1,
        2,
        3,
        20,
    ]
    assert ask(ready, "map/edits", "m.nearestLine([], 1)") is None


# Half a second a beat: bar 16 is at 31 s, and 2/4 is a second shorter than 4/4. Bar 17 began at 33 s.
@pytest.mark.parametrize(
    "change", [{"meter": "3/4"}, {"free": True}, {"ramps": True}], ids=["another meter", "free", "an even change"]
)
def test_an_odd_bar_before_a_change_leaves_the_change(ready: Page, change: dict[str, Any]) -> None:
    given = state(anchor(1, 1.0), anchor(17, 33.0, **change), anchor(25, 49.0))
    made = ask(ready, "map/edits", "m.withOddBar(...given)", given, 16, "2/4", 31.0, 0.5)
    assert made["anchors"] == [
        anchor(1, 1.0),
        anchor(16, 31.0, meter="2/4"),
        anchor(17, 32.0, **change),
        anchor(25, 48.0),
    ]


def test_after_an_odd_bar_the_meter_before_it_goes_on(ready: Page) -> None:
    made = ask(ready, "map/edits", "m.withOddBar(...given)", state(), 16, "2/4", 31.0, 0.5)
    assert made["anchors"] == [anchor(1, 1.0), anchor(16, 31.0, meter="2/4"), anchor(17, 32.0)]
    again = ask(ready, "map/edits", "m.withOddBar(...given)", made, 16, "3/4", 31.0, 0.5)
    assert again["anchors"] == [anchor(1, 1.0), anchor(16, 31.0, meter="3/4"), anchor(17, 32.5)]


def test_without_its_last_anchor_a_map_goes_on_at_the_tempo_before_it(ready: Page) -> None:
    """49 bars of four in 117.6 s are 100 a minute, and it was 120 from bar 50 on."""
    given = state(anchor(1, 0.0), anchor(50, 117.6))
    assert ask(ready, "map/edits", "m.removed(...given)", given, 1) == state(anchor(1, 0.0)) | {"last_bpm": "100"}
    first_gone = ask(ready, "map/edits", "m.removed(...given)", given, 0)
    assert first_gone == state(anchor(50, 117.6))


def test_halved_a_map_keeps_the_tempo_of_the_music(ready: Page) -> None:
    """Bar 50's anchor goes, in the middle of a bar: 50 where it ran at 100. Bar 51's stays, and its 120 is 60."""
    gone = ask(ready, "map/edits", "m.halved(...given)", state(anchor(1, 0.0), anchor(50, 117.6)))
    assert gone == state(anchor(1, 0.0)) | {"last_bpm": "50"}
    stays = ask(ready, "map/edits", "m.halved(...given)", state(anchor(1, 0.0), anchor(51, 120.0)))
    assert stays == state(anchor(1, 0.0), anchor(26, 120.0)) | {"last_bpm": "60"}
