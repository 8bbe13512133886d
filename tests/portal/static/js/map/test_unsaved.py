"""What a browser keeps of a map that is not approved. 120 BPM in 4/4 from 1 s on: a bar is 2 s."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

import pytest
from playwright.sync_api import Page

from analysis.maps.anchors import Anchor, anchors_of, map_through
from analysis.maps.tempo_map import TempoMap
from tests.portal.static.js.lib.test_sums import ask
from tests.portal.static.js.map.test_edits import anchor, state

pytestmark = pytest.mark.browser

# One visit left the map `given[1]`, a later one was undone to `given[0]`. What a third is offered, and is kept.
KEEP = """(() => { localStorage.clear();
  const visit = (number, began) => m.unsavedMap({ storage: localStorage, song: "7", began, visit: number });
  const kept = { past: [given[0]], now: given[1], future: [] };
  visit(1, given[2]).keep(kept, { note: "the note", countIn: "3" }, 1000);
  visit(2, given[2]).keep({ ...kept, now: given[0] }, { note: "", countIn: "" }, 2000);
  return [visit(3, given[3]).offer(given[0]), Object.keys(localStorage)]; })()"""


def test_what_was_not_approved_is_offered_again_with_its_steps(ready: Page) -> None:
    changed = state(anchor(1, 1.25))
    offer, keys = ask(ready, "map/unsaved", KEEP, state(), changed, 2, 2)
    assert (offer["now"], offer["past"], offer["began"]) == (changed, [state()], 2)
    assert (offer["note"], offer["countIn"]) == ("the note", "3")
    assert keys == ["kitpost-map-7-1"]  # what was undone to the start is kept no longer
    assert ask(ready, "map/unsaved", KEEP, state(), changed, 2, 3)[0]["began"] == 2  # another was approved since


@pytest.mark.parametrize(
    "changed",
    [
        [anchor(1, 1.0), anchor(5, 9.0, free=True), anchor(9, 17.0)],
        [anchor(1, 1.0), anchor(5, 9.0, meter="3/4"), anchor(9, 17.0)],
        [anchor(1, 1.0), anchor(5, 9.0), anchor(9, 17.0)],
        [anchor(1, 1.0), anchor(9, 17.5)],
        [anchor(1, 1.0)],
    ],
    ids=["free bars", "a meter", "an anchor more", "a time", "an anchor less"],
)
def test_work_on_lines_of_the_map_that_was_approved_meanwhile_is_offered(
    ready: Page, changed: list[dict[str, Any]]
) -> None:
    start = state(anchor(1, 1.0), anchor(9, 17.0))
    offer, _ = ask(ready, "map/unsaved", KEEP, start, state(*changed), 2, 3)
    assert offer["now"] == state(*changed)


def test_an_even_change_is_offered_until_it_is_approved_and_no_longer(ready: Page) -> None:
    """The server keeps it bar by bar, from 120 on up to bar 9 at 15 s and on from there up to bar 13 at 21 s."""
    anchors = [anchor(1, 1.0), anchor(3, 5.0, ramps=True), anchor(9, 15.0, ramps=True), anchor(13, 21.0)]
    made = map_through([Anchor.from_json(one) for one in anchors], last_bpm=Fraction(140))
    approved = anchors_of(TempoMap.from_json(made.to_json()))
    start = {"anchors": [one.to_json() for one in approved], "last_bpm": "140"}
    changed = {"anchors": anchors, "last_bpm": "140"}
    assert len(approved) == 1 + 6 + 4 + 1
    assert ask(ready, "map/unsaved", KEEP, start, changed, 2, 3) == [None, []]
    plain = {"anchors": [one | {"ramps": False} for one in anchors], "last_bpm": "140"}
    assert ask(ready, "map/unsaved", KEEP, plain, changed, 2, 3)[0]["now"] == changed


MANY = """(() => { localStorage.clear();
  const anchors = Array.from({ length: 220 }, (_, at) => ({ bar: at + 1, time_s: 2.12345678 * at, meter: "4/4" }));
  const step = (number) => ({ anchors, last_bpm: String(number) });
  const steps = Array.from({ length: 60 }, (_, at) => step(at));
  const visit = m.unsavedMap({ storage: localStorage, song: "7", began: 0, visit: 1 });
  visit.keep({ past: steps, now: step(99), future: steps }, { note: "", countIn: "" }, 1);
  return localStorage.getItem("kitpost-map-7-1"); })()"""


def test_a_map_of_many_anchors_keeps_the_newest_steps_that_have_room(ready: Page) -> None:
    """Sixty steps each way of 220 anchors: what was done last stays, in a twentieth of what a browser has."""
    text = ask(ready, "map/unsaved", MANY)
    kept = json.loads(text)
    past = [int(one["last_bpm"]) for one in kept["past"]]
    assert len(text) < 5_200_000 / 20 + len(json.dumps(kept["now"]))
    assert kept["now"]["last_bpm"] == "99"
    assert 10 < len(past) < 60
    assert past == list(range(60 - len(past), 60))


SMALL = """(() => { let held = null;
  const storage = { setItem(_, text) { if (text.length > 400) throw new Error("full"); held = JSON.parse(text); } };
  const visit = m.unsavedMap({ storage, song: "7", began: 1, visit: 1 });
  const history = { past: Array(20).fill(given[0]), now: given[0], future: [] };
  return [visit.keep(history, { note: "", countIn: "" }, 0), held.now, held.past]; })()"""


def test_where_steps_have_no_room_the_map_alone_is_kept(ready: Page) -> None:
    assert ask(ready, "map/unsaved", SMALL, state()) == [True, state(), []]


def test_a_browser_that_keeps_nothing_says_so(ready: Page) -> None:
    full = "{ setItem() { throw new Error('full'); } }"
    visit = f"m.unsavedMap({{ storage: {full}, song: '7', began: 1, visit: 1 }})"
    assert ask(ready, "map/unsaved", f"{visit}.keep({{ past: [], now: 1, future: [] }}, {{}}, 0)") is False


def test_how_long_ago_is_said_without_a_clock(ready: Page) -> None:
    minutes = {0.5: "just now", 1: "1 minute ago", 59: "59 minutes ago", 60: "1 hour ago", 47 * 60: "47 hours ago"}
    minutes[48 * 60] = "2 days ago"
    said = ask(ready, "lib/unsaved", "given[0].map((one) => m.agoWords(one * 60000))", list(minutes))
    assert said == list(minutes.values())
