"""What a lane draws from: levels of a pyramid, columns of a view, close-ups that small moves do not ask for again."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from portal.lanes.sound import MOST_POINTS, MOST_SECONDS
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


def test_each_level_keeps_the_extremes_of_four_points(ready: Page) -> None:
    """4 096 points of [-1, 1] with one of [-100, 90] at 2 050: it is in point 512 of the next, 128 of the one after."""
    levels = ask(
        ready,
        "lanes/sound",
        """(() => {
            const pairs = Int8Array.from({ length: 8192 }, (_, at) => (at % 2 ? 1 : -1));
            pairs[4100] = -100;
            pairs[4101] = 90;
            return m.levelsOf(pairs).map((level) => [level.length / 2, level.indexOf(-100) / 2]);
        })()""",
    )
    assert levels == [[4096, 2050], [1024, 512], [256, 128]]


def test_columns_hold_lowest_and_highest_and_nothing_outside(ready: Page) -> None:
    columns = ask(
        ready,
        "lanes/sound",
        "[...m.columnsBetween(new Int8Array([-1, 1, -5, 2, -3, 9, 0, 4]), -2, 6, 4, new Int8Array(8))]",
    )
    assert columns == [0, 0, -5, 2, -3, 9, 0, 0]


def test_a_small_move_asks_for_the_same_close_up(ready: Page) -> None:
    part = "m.partFor(given[0], given[0] + 2, 48000, 48000 * 300, 1000)"
    one, two, far = (ask(ready, "lanes/sound", part, start) for start in (60.0, 60.05, 70.0))
    assert one == two
    assert far != one
    assert one["start"] <= 60 * 48_000
    assert one["start"] + one["frames"] >= 62 * 48_000


@pytest.mark.parametrize("length_s", [0.5, 3.0, 8.0, 10.5, 11.3, 12.0])
@pytest.mark.parametrize("width_px", [300, 1000, 2500])
def test_no_more_is_asked_for_than_the_server_gives_at_once(ready: Page, length_s: float, width_px: int) -> None:
    """At most 30 s and 4 096 points, or what comes is drawn in the wrong place; and always the whole view."""
    words = "m.partFor(100.3, 100.3 + given[0], 48000, 48000 * 300, given[1])"
    part = ask(ready, "lanes/sound", words, length_s, width_px)
    assert part["frames"] <= MOST_SECONDS * 48_000
    assert part["points"] <= MOST_POINTS
    assert part["start"] <= 100.3 * 48_000
    assert part["start"] + part["frames"] >= (100.3 + length_s) * 48_000


def test_very_close_the_samples_themselves_come(ready: Page) -> None:
    close = ask(ready, "lanes/sound", "m.partFor(60, 60.02, 48000, 48000 * 300, 1000)")
    assert close["points"] == 0
    wide = ask(ready, "lanes/sound", "m.partFor(60, 70, 48000, 48000 * 300, 1000)")
    assert wide["points"] >= 1000
