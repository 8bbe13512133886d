"""Steps along a song by keys. Bars of two seconds from 1 s on, sections at bars 1 and 3."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

SONG: dict[str, Any] = {
    "bars": [{"bar": 1 + bar, "time_s": 1.0 + 2 * bar, "beats": 4} for bar in range(4)],
    "sections": [{"label": "A", "bar": 1, "time_s": 1.0}, {"label": "B", "bar": 3, "time_s": 5.0}],
    "marks": [{"time_s": 6.5}],
    "lanes": [{"marks": [{"time_s": 2.5}]}, {"marks": []}],
}


@pytest.mark.parametrize(
    ("key", "shift", "from_s", "to_s"),
    [
        ("ArrowRight", True, 1.0, 3.0),
        ("ArrowLeft", True, 3.4, 3.0),
        ("ArrowLeft", True, 1.0, 0),
        ("ArrowRight", True, 7.0, None),
        ("ArrowRight", False, 1.0, None),
        ("PageDown", False, 1.0, 5.0),
        ("PageUp", False, 4.0, 1.0),
        ("f", False, 0.0, 2.5),
        ("f", False, 2.5, 6.5),
        ("F", True, 6.5, 2.5),
        ("x", False, 0.0, None),
    ],
)
def test_a_key_leads_to(ready: Page, key: str, shift: bool, from_s: float, to_s: float | None) -> None:
    event = {"key": key, "shiftKey": shift}
    assert ask(ready, "lanes/steps", "m.stepFor(given[0], given[1], given[2])", event, SONG, from_s) == to_s


def test_the_section_at_a_moment_in_bars(ready: Page) -> None:
    found = ask(ready, "lanes/steps", "[0.5, 1, 4.9, 5, 99].map((at) => m.sectionBars(given[0], at))", SONG)
    assert found == [None, [1, 2], [1, 2], [3, 4], [3, 4]]


@pytest.mark.parametrize(("last_of_chart", "last"), [(3, 3), (4, 4), (9, 4)])
def test_the_last_section_ends_with_the_chart(ready: Page, last_of_chart: int, last: int) -> None:
    """The files ring on behind it; a chart that is longer than they are has no more bars to loop."""
    song = SONG | {"last_bar": last_of_chart}
    assert ask(ready, "lanes/steps", "m.sectionBars(given[0], 6)", song) == [3, last]
