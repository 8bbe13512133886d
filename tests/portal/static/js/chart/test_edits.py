"""Edits of a chart as plain functions: what changes, what a person decided by it, and what cannot be done."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

CHART: dict[str, Any] = {
    "chart": 1,
    "title": "Wet Stairs Beside Kettle",
    "meter": "4/4",
    "sections": [
        {"letter": "A", "bars": [{}, {"shows": "repeat-1"}, {"hits": [{"beat": 4.5}]}]},
        {"letter": "C", "name": "Chorus", "bars": [{"road": {"segno": True}}, {"meter": "6/8"}]},
    ],
}


def edited(page: Page, expression: str) -> dict[str, Any]:
    changed: dict[str, Any] = ask(page, "chart/edits", expression, CHART)
    return changed


def test_all_edits(ready: Page) -> None:
    """One ready for all of them: each is a sum of its own."""

    halves = edited(ready, "m.split(given[0], 2)")["sections"][:2]
    assert [(one["letter"], len(one["bars"]), one["decided"]) for one in halves] == [
        ("A", 1, ["place"]),
        ("B", 2, ["place"]),
    ]
    assert edited(ready, "m.split(given[0], 2)")["sections"][2]["letter"] == "C"
    assert edited(ready, "m.split(given[0], 4)") == CHART  # a section begins there already

    (whole,) = edited(ready, "m.joined(given[0], 5)")["sections"]
    assert (whole["letter"], len(whole["bars"]), whole["decided"]) == ("A", 5, ["place"])
    assert edited(ready, "m.joined(given[0], 1)") == CHART

    copied = edited(ready, "m.copied(given[0], 4)")["sections"]
    assert [len(one["bars"]) for one in copied] == [3, 2, 2]
    assert copied[2]["bars"] == [{}, {"meter": "6/8"}]  # the segno stays with the first

    assert edited(ready, "m.inserted(given[0], 5)")["sections"][1]["bars"][2] == {"meter": "6/8"}
    assert len(edited(ready, "m.removed(given[0], 2)")["sections"][0]["bars"]) == 2
    assert edited(ready, "m.removed(m.removed(given[0], 4), 4)")["sections"] == CHART["sections"][:1]

    hit = edited(ready, "m.withHit(given[0], 3, 4)")["sections"][0]["bars"][2]
    assert hit == {"hits": [{"beat": 4, "length": 0.5}, {"beat": 4.5}], "decided": ["hits"]}
    assert edited(ready, "m.withHit(given[0], 3, 4.5)")["sections"][0]["bars"][2] == {"decided": ["hits"]}
    shorter = edited(ready, "m.withHit(given[0], 3, 4.25)")["sections"][0]["bars"][2]["hits"]
    assert shorter[0] == {"beat": 4.25, "length": 0.25}  # it ends where the next one begins

    typed = edited(ready, "m.withHits(given[0], 3, [4.5, 1, '5/3'])")["sections"][0]["bars"][2]["hits"]
    assert typed == [{"beat": 1, "length": 0.5}, {"beat": "5/3", "length": "1/3"}, {"beat": 4.5}]
    assert edited(ready, "m.withHits(given[0], 3, null)") == CHART  # what was typed is no beat

    one = "m.withStrokes(given[0], 2, 'kick', [3, 1])"
    drums = edited(ready, f"m.withStrokes({one}, 2, 'snare', [2])")["sections"][0]["bars"][1]
    kick, snare = ({"beat": 1, "voice": "kick"}, {"beat": 3, "voice": "kick"}), {"beat": 2, "voice": "snare"}
    assert drums == {"shows": "drums", "notes": [kick[0], snare, kick[1]], "decided": ["content"]}
    assert edited(ready, f"m.withStrokes({one}, 2, 'kick', [])")["sections"][0]["bars"][1] == {"decided": ["content"]}
    assert edited(ready, "m.withStrokes(given[0], 2, 'kick', [])") == CHART  # nothing was written there

    road = edited(ready, "m.withRoad(given[0], 4, { segno: false, repeat_end: 2 })")["sections"][1]["bars"][0]
    assert road == {"road": {"repeat_end": 2}, "decided": ["road"]}
    assert edited(ready, "m.withRoad(given[0], 4, { segno: true })") == CHART

    named = edited(ready, "m.withSection(given[0], 1, { letter: '', name: 'Tag' })")["sections"][1]
    assert (named["letter"], named["name"], named["decided"]) == ("", "Tag", ["letter", "name"])


@pytest.mark.parametrize(
    ("meter", "part", "beat"),
    [("4/4", 0.0, 1), ("4/4", 0.64, 3.5), ("4/4", 0.7, 3.75), ("6/8", 0.5, 4), ("6/8", 0.42, 3.5), ("4/4", 0.99, None)],
)
def test_a_tap_lies_on_the_nearest_sixteenth(ready: Page, meter: str, part: float, beat: float | None) -> None:
    """A bar of 4/4 has 16 sixteenths, one of 6/8 twelve: a beat is an eighth there."""
    assert ask(ready, "chart/edits", "m.nearestBeat(given[0], given[1])", meter, part) == beat
