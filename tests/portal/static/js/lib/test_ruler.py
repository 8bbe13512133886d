"""What is written on the bar ruler, and where. Letters are 8 px wide here, so every place is arithmetic."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

APART_PX = 7


def bars_of(meters: list[str], *, free: tuple[int, ...] = ()) -> list[dict[str, Any]]:
    """Bars of a second a beat, from 0 s on."""
    bars: list[dict[str, Any]] = []
    time_s = 0
    for at, meter in enumerate(meters):
        beats = int(meter.split("/")[0])
        bars.append({"bar": at + 1, "time_s": time_s, "beats": beats, "meter": meter, "free": at + 1 in free})
        time_s += beats
    return bars


def labels(
    page: Page,
    bars: list[dict[str, Any]],
    *,
    px_per_s: float,
    sections: list[dict[str, Any]] | None = None,
    width: int = 1000,
    every: int = 1,
    from_s: float = 0,
) -> list[dict[str, Any]]:
    given = {"bars": bars, "sections": sections or [], "width": width, "every": every}
    expression = "m.labelsOf(given[0], (s) => (s - given[2]) * given[1], (text) => 8 * text.length)"
    found: list[dict[str, Any]] = ask(page, "lib/ruler", expression, given, px_per_s, from_s)
    return found


def written(found: list[dict[str, Any]]) -> dict[str, list[float]]:
    return {f"{one['kind']} {one['text']}": [one["left"], one["right"]] for one in found}


def test_a_number_stands_before_the_meter_of_its_bar(ready: Page) -> None:
    """Bar 2 begins at 240 px and is 120 px wide: its number from 245 to 253, its meter 7 px on and 24 px wide."""
    bars = bars_of(["4/4", "2/4", "4/4", "4/4"])

    wide = written(labels(ready, bars, px_per_s=60))
    assert wide["number 2"] == [245, 253]
    assert wide["meter 2/4"] == [260, 284]
    assert wide["meter 4/4"] == [380, 404]


def test_where_there_is_room_for_one_the_meter_stays(ready: Page) -> None:
    """At 20 px a second bar 2 begins at 80 px and bar 3 at 120 px. Meters stand at 85 to 109 and 125 to 149; bar 2's
    number would push its meter to 100 to 124, less than 7 px before the next."""
    found = written(labels(ready, bars_of(["4/4", "2/4", "4/4", "4/4"]), px_per_s=20))

    assert found["meter 2/4"] == [85, 109]
    assert "number 2" not in found
    assert found["number 3"] == [125, 133]
    assert found["meter 4/4"] == [140, 164]


def test_free_gives_way_to_a_section_s_letter(ready: Page) -> None:
    """Bars 2 and 3 are free, from 80 to 240 px at 20 px a second. The letter stands at 83 to 91 px, "free" 7 px after
    it; where the passage ends before its 32 px do, it is not said."""
    bars = bars_of(["4/4"] * 4, free=(2, 3))
    section = [{"label": "B", "time_s": 4, "bar": 2}]

    assert written(labels(ready, bars, px_per_s=20, sections=section))["free free"] == [98, 130]
    assert "free free" not in written(labels(ready, bars, px_per_s=5, sections=section))
    # 8 px a second: 32 to 96 px; the letter's 35 to 43 px leave 50 to 82 px.
    assert written(labels(ready, bars, px_per_s=8, sections=section))["free free"] == [50, 82]


def test_a_passage_that_began_before_the_view_says_free_in_it(ready: Page) -> None:
    bars = bars_of(["4/4"] * 8, free=(2, 3, 4, 5, 6))

    assert written(labels(ready, bars, px_per_s=20, from_s=10))["free free"] == [3, 35]


def test_nothing_runs_into_anything_at_any_zoom(ready: Page) -> None:
    """Odd bars in a row, a letter every three bars, and free passages under letters; from the whole song to a bar."""
    bars = bars_of(["4/4", "2/4", "4/4", "7/8", "2/4", "3/4", "12/8"] * 12, free=(8, 9, 10, 30, 31))
    sections = [
        {"label": "ABCDEFG"[at // 3 % 7], "time_s": bars[at]["time_s"], "bar": at + 1} for at in range(0, 84, 3)
    ]
    zooms = [(0.5 * 1.5**step, from_s) for step in range(16) for from_s in (0, 61.3)]

    for px_per_s, from_s in zooms:
        found = labels(ready, bars, px_per_s=px_per_s, sections=sections, from_s=from_s)
        for one, other in combinations(found, 2):
            apart = max(one["left"], other["left"]) - min(one["right"], other["right"])
            assert one["row"] != other["row"] or apart >= APART_PX - 1e-9, (one, other)
