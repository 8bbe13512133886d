"""The bar of clicks before a place. Every place is arithmetic: beats of half a second, four to a bar, from 1 s."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

FOUR = [[1.0 + 0.5 * beat, 0 if beat % 4 else 1] for beat in range(16)]
PICKUP = [[0.5, 0], [1.0, 0], *[[1.5 + 0.5 * beat, 0 if beat % 3 else 1] for beat in range(9)]]
LATE = [[beat_s + 2.0, accent] for beat_s, accent in FOUR]
THEN_FREE = [*FOUR[:8], [30.0, 1], [30.5, 0], [31.0, 0], [31.5, 0], [32.0, 1]]


def counted(page: Page, beats: list[list[float]], song_s: float) -> Any:
    """[(seconds before, is an accent)], or null."""
    words = "m.countIn(given[0], given[1])?.clicks.map((one) => [Math.round(one.beforeS * 1e6) / 1e6, one.accent])"
    return ask(page, "lanes/count-in", words, beats, song_s)


def test_it_says_which_beat_is_heard(ready: Page) -> None:
    """Two bars of four that begin at 10 s, half a second to a beat; the song begins at 14 s."""
    beats = [{"atS": 10 + 0.5 * beat, "accent": beat % 4 == 0} for beat in range(8)]
    count = {"beats": beats, "songAtS": 14}
    heard = [(9.9, None), (10, 1), (11.6, 4), (12.2, 1), (13.99, 4), (14, None)]
    for heard_s, beat in heard:
        found = ask(ready, "lanes/count-in", "m.countedAt(given[0], given[1])", count, heard_s)
        assert found == (beat and {"beat": beat, "beats": 4}), heard_s


def test_a_bar_line_has_its_whole_bar_before_it(ready: Page) -> None:
    expected = [[2.0, True], [1.5, False], [1.0, False], [0.5, False]]
    assert counted(ready, FOUR, 1.0) == expected
    assert counted(ready, FOUR, 5.0) == expected


def test_the_third_beat_is_led_to_by_three_four_one_two(ready: Page) -> None:
    assert counted(ready, FOUR, 4.0) == [[2.0, False], [1.5, False], [1.0, True], [0.5, False]]


def test_between_two_beats_the_clicks_stay_on_the_beats(ready: Page) -> None:
    """From 3.2 s the next beat is 3.5, a bar's second: 1.5, 2.0, 2.5 and 3.0 lead there, and 3.0 is the bar's one."""
    assert counted(ready, FOUR, 3.2) == [[1.7, False], [1.2, False], [0.7, False], [0.2, True]]


def test_a_pickup_is_led_to_by_a_bar_as_long_as_the_next(ready: Page) -> None:
    """Two beats before bar one in 3/4: they are its second and third, so the count is two, three, one."""
    assert counted(ready, PICKUP, 0.5) == [[1.5, False], [1.0, False], [0.5, True]]


def test_a_pickup_before_the_first_beat_is_counted_in_up_to_bar_one(ready: Page) -> None:
    """From 0 s, two beats before bar one: one bar leads to bar one, and its last two beats fall on the pickup."""
    assert counted(ready, FOUR, 0.0) == [[1.0, True], [0.5, False], [0.0, False], [-0.5, False]]


def test_a_pickup_of_nearly_a_bar_gets_a_bar_before_it(ready: Page) -> None:
    """3.5 beats before bar one, one beat of count would not be there: eight clicks lead to bar one."""
    later = [[beat_s + 1.0, accent] for beat_s, accent in FOUR]
    words = counted(ready, later, 0.25)
    assert len(words) == 8
    assert words[0] == [2.25, True]
    assert words[-1] == [-1.25, False]


def test_after_a_free_passage_it_counts_in_the_tempo_that_follows(ready: Page) -> None:
    assert counted(ready, THEN_FREE, 30.0) == [[2.0, True], [1.5, False], [1.0, False], [0.5, False]]


@pytest.mark.parametrize(
    ("beats", "song_s"), [([], 0.0), ([[1.0, 1]], 0.0), (FOUR, 20.0), (LATE, 0.0), (THEN_FREE, 10.0)]
)
def test_where_no_beat_is_near_nothing_is_counted(ready: Page, beats: list[list[float]], song_s: float) -> None:
    assert counted(ready, beats, song_s) is None
