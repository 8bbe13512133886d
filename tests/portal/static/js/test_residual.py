"""How far the playing lies from the grid. Expected values are arithmetic."""

from __future__ import annotations

import struct

import pytest
from playwright.sync_api import Page

from tests.portal.static.conftest import Show
from tests.portal.static.js.test_sums import ask

pytestmark = pytest.mark.browser

# 120 BPM in 4/4 from 1 s on, four bars of 2 s.
BEATS_S = [1 + 0.5 * beat for beat in range(16)]
BARS = [{"bar": 1 + bar, "time_s": 1.0 + 2 * bar, "beats": 4} for bar in range(4)]


@pytest.fixture
def ready(page: Page, show: Show) -> Page:
    show("")
    return page


def residual(page: Page, onsets_s: list[float]) -> list[tuple[int, float, int]]:
    points = ask(page, "residual", "m.residualOf(given[0], given[1], given[2])", BEATS_S, BARS, onsets_s)
    return [(point["bar"], round(point["ms"], 6), point["count"]) for point in points]


def test_each_bar_has_the_middle_of_its_attacks(ready: Page) -> None:
    # 10, 20 and 90 ms behind the beats of bar 1; 30 ms ahead of the first beat of bar 3, which begins at 5 s.
    assert residual(ready, [1.01, 1.52, 2.09, 4.97]) == [(1, 20.0, 3), (3, -30.0, 1)]


def test_what_lies_between_the_beats_belongs_to_none(ready: Page) -> None:
    # A beat lasts 500 ms: an eighth is 250 ms off, and 125 ms are the most that count.
    assert residual(ready, [1.25, 1.63, 1.124, 0.5, 30.0]) == [(1, 124.0, 1)]


def test_a_grid_that_is_too_fast_shows_as_a_slope(ready: Page) -> None:
    # Played at 119: each beat comes 60/119 - 0.5 s later than the last; the middle of four beats is 1.5 beats in.
    late_ms = 1000 * (60 / 119 - 0.5)
    found = residual(ready, [1 + beat * 60 / 119 for beat in range(16)])
    assert [ms for _, ms, _ in found] == pytest.approx([late_ms * (1.5 + 4 * bar) for bar in range(4)], abs=1e-6)


def test_the_last_bar_line_counts_as_well(ready: Page) -> None:
    assert residual(ready, [8.51]) == [(4, 10.0, 1)]


def test_onsets_are_read_as_they_are_sent(ready: Page) -> None:
    sent = list(struct.pack("<I2I2B", 2, 1_500_000, 2_000_001, 255, 51))
    found = ask(ready, "residual", "m.onsetsFrom(new Uint8Array(given[0]).buffer)", sent)
    assert found == [{"timeS": 1.5, "strength": 1}, {"timeS": 2.000001, "strength": 0.2}]


def test_nothing_is_held_against_a_free_bar(ready: Page) -> None:
    """Bar 1 of 2 s, bar 2 free for 6 s, bar 3 at 8 s with the bar before it counted in from 6 s. Attacks in the free
    bar are left out, near a counted beat or not; those of bars 1 and 3 are 10 ms and 20 ms late."""
    beats_s = [0, 0.5, 1, 1.5, 6, 6.5, 7, 7.5, 8, 8.5, 9, 9.5]
    bars = [{"bar": 1, "time_s": 0}, {"bar": 2, "time_s": 2, "free": True}, {"bar": 3, "time_s": 8}]
    onsets_s = [0.51, 1.51, 2.4, 3.5, 6.03, 7.04, 8.02, 9.02]
    points = ask(ready, "residual", "m.residualOf(given[0], given[1], given[2])", beats_s, bars, onsets_s)
    assert [(one["bar"], round(one["ms"], 3), one["count"]) for one in points] == [(1, 10.0, 2), (3, 20.0, 2)]
