"""Where the head is, and the clock under the lanes: the closer, the finer. Letters are 7 px wide here."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


@pytest.mark.parametrize(
    ("length_s", "step_s", "decimals"),
    [
        # 1000 px; "0:10.0" is 42 px wide and wants 16 px beside it. 100 s: 10 px a second, and 58 px are 5.8 s.
        (100, 10, 0),
        (5, 0.5, 1),
        # "0:10.0000" and its room are 79 px: of a second's 1000 px that is 79 ms, of 20 ms 1.58 ms, of 2 ms 0.158 ms.
        (1, 0.1, 3),
        (0.02, 0.002, 3),
        (0.002, 0.0002, 4),
    ],
)
def test_the_clock_has_times_at_every_zoom(ready: Page, length_s: float, step_s: float, decimals: int) -> None:
    view = {"startS": 10, "endS": 10 + length_s}
    found = ask(ready, "lanes/where", "m.clockSteps(given[0], 1000, (text) => 7 * text.length)", view)
    assert found == {"step": step_s, "decimals": decimals}


def test_the_place_is_told_as_finely_as_it_is_seen(ready: Page) -> None:
    """Bars of 2 s from 1 s on: 5.6789 s is in bar 3, whose second beat of four begins at 5.5 s; at 44.1 kHz it is frame
    250 439.49, at 48 kHz frame 272 587.2."""
    bars = [{"bar": 1 + bar, "time_s": 1 + 2 * bar, "beats": 4} for bar in range(4)]
    one = {"bars": bars, "lanes": [{"sample_rate_hz": 44_100}, {"sample_rate_hz": 44_100}]}
    two = {"bars": bars, "lanes": [{"sample_rate_hz": 44_100}, {"sample_rate_hz": 48_000}, {"sample_rate_hz": 0}]}
    beside = ask(ready, "lanes/where", "[2.99999, 2.999].map((s) => m.whereText(given[0], s, 2))", one)
    assert beside == ["bar 2, beat 1 · 0:03.00", "bar 1, beat 4 · 0:03.00"]  # half a frame before the line, and 1 ms
    tell = "[2, 0.8, 0.05].map((lengthS) => m.whereText(given[0], 5.6789, lengthS))"
    place = "bar 3, beat 2 · 0:05"

    assert ask(ready, "lanes/where", tell, one) == [f"{place}.68", f"{place}.679", f"{place}.679 · frame 250439"]
    last = ask(ready, "lanes/where", tell, two)[-1]
    assert last == f"{place}.679 · frame 250439 at 44.1 kHz · frame 272587 at 48 kHz"
