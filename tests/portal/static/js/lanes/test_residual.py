"""How far the playing lies from the grid. Expected values are arithmetic."""

from __future__ import annotations

import struct
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser


def points(*figures: tuple[float, int]) -> list[dict[str, Any]]:
    return [{"bar": at + 1, "timeS": at, "ms": ms, "count": count} for at, (ms, count) in enumerate(figures)]


def test_a_bar_in_which_nothing_can_be_late_has_no_point(ready: Page) -> None:
    bars = [
        {"bar": 0, "time_s": 0.5, "late_ms": 0.0, "attacks": 2},
        {"bar": 1, "time_s": 1.0, "late_ms": -3.5, "attacks": 7},
        {"bar": 2, "time_s": 3.0, "late_ms": None, "attacks": 0, "free": True},
        {"bar": 3, "time_s": 5.0},
    ]
    found = ask(ready, "lanes/residual", "m.residualOf(given[0])", bars)
    assert found == [{"bar": 0, "timeS": 0.5, "ms": 0, "count": 2}, {"bar": 1, "timeS": 1, "ms": -3.5, "count": 7}]


@pytest.mark.parametrize(
    ("figures", "scale_ms"),
    [
        # Of 206 attacks 200 keep within 15 ms, so the picture reaches to 2 x 15 ms whatever the last six do.
        ([(15.0, 100), (-10.0, 100), (-81.0, 6)], 30),
        # A slope is kept whole: nine in ten keep within 90 ms, and 100 ms are less than twice that.
        ([(10.0 * at, 10) for at in range(1, 11)], 100),
        # A step in every fifth attack is no stray bar.
        ([(5.0, 40), (-250.0, 10)], 250),
        ([(1.0, 40)], 20),
        ([], 20),
    ],
)
def test_one_bar_of_few_attacks_sets_no_scale(ready: Page, figures: list[tuple[float, int]], scale_ms: float) -> None:
    assert ask(ready, "lanes/residual", "m.scaleMs(given[0])", points(*figures)) == scale_ms


def test_onsets_are_read_as_they_are_sent(ready: Page) -> None:
    sent = list(struct.pack("<I2I2B", 2, 1_500_000, 2_000_001, 255, 51))
    found = ask(ready, "lanes/residual", "m.onsetsFrom(new Uint8Array(given[0]).buffer)", sent)
    assert found == [{"timeS": 1.5, "strength": 1}, {"timeS": 2.000001, "strength": 0.2}]
