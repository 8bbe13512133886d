"""Where the song is, and the client's words there. Bars are 2 s from 2 s on: arithmetic."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

BARS = [{"bar": bar, "time_s": 2.0 * bar, "beats": 4, "meter": "4/4"} for bar in range(1, 12)]
SECTIONS = [{"label": label, "bar": bar, "time_s": 2.0 * bar} for label, bar in (("A", 1), ("B", 5), ("C", 9))]
SONG: dict[str, Any] = {"bars": BARS, "sections": SECTIONS, "duration_s": 24.0, "lanes": []}
WORDS = {
    "feel": "straight",
    "notes": "Brushes, please.\nB: half-time\nSection c: ride\nbars 7-9: crashes\nbar 4: stop\nNote: no fills",
    "references": "The slow one\nThe fast one",
}


def where(page: Page, time_s: float, song: dict[str, Any] = SONG) -> Any:
    return ask(page, "kit/form", "m.whereAt(given[0], m.formOf(given[0]), given[1])", song, time_s)


def announced(page: Page, time_s: float) -> Any:
    return ask(page, "kit/form", "m.announcement(m.whereAt(given[0], m.formOf(given[0]), given[1]))", SONG, time_s)


def test_the_form_has_every_bar_once(ready: Page) -> None:
    form = ask(ready, "kit/form", "m.formOf(given[0])", SONG)
    assert [(one["label"], one["bar"], one["bars"], one["endS"]) for one in form] == [
        ("A", 1, 4, 10.0),
        ("B", 5, 4, 18.0),
        ("C", 9, 3, 24.0),
    ]
    (whole,) = ask(ready, "kit/form", "m.formOf(given[0])", SONG | {"sections": []})
    assert (whole["bar"], whole["bars"]) == (1, 11)
    assert ask(ready, "kit/form", "m.formOf(given[0])", SONG | {"bars": []}) == []


def test_a_place_has_its_bar_beat_section_and_tempo(ready: Page) -> None:
    found = where(ready, 11.1)  # bar 5 begins at 10 s, its third beat at 11 s
    assert (found["bar"], found["beat"], found["section"], found["bpm"]) == (5, 3, 1, 120)
    assert where(ready, 1.9) is None


def test_the_next_section_is_announced_two_bars_ahead(ready: Page) -> None:
    """B begins with bar 5 at 10 s: bar 3 is two bars before, bar 2 too early; nothing comes after C."""
    assert [announced(ready, time_s) for time_s in (5.9, 6.1, 8.1, 10.1, 23.0)] == [
        "",
        "B in 2 bars",
        "B after this bar",
        "",
        "",
    ]


def test_from_the_top_is_bar_one_or_the_beats_of_a_pickup(ready: Page) -> None:
    """Beats of 0.5 s: a sound 0.7 s before bar one needs two of them; a click before it is none."""
    top = "m.topOf(given[0])"
    assert ask(ready, "kit/form", top, SONG) == 2.0
    lane = {"role": "bass", "leading_silence_s": 1.3}
    assert ask(ready, "kit/form", top, SONG | {"lanes": [lane]}) == 1.0
    assert ask(ready, "kit/form", top, SONG | {"lanes": [lane | {"role": "click"}]}) == 2.0
    assert ask(ready, "kit/form", top, SONG | {"bars": []}) == 0


def words(page: Page, **section: Any) -> Any:
    return ask(page, "kit/words", "m.wordsFor(given[0], given[1])", WORDS, section or None)


def test_words_stand_at_their_section(ready: Page) -> None:
    whole = ["straight", "Brushes, please.", "Note: no fills", "Like: The slow one, The fast one"]
    assert words(ready) == {"whole": whole, "here": []}
    assert words(ready, label="A", bar=1, bars=4)["here"] == ["bar 4: stop"]
    assert words(ready, label="B", bar=5, bars=4)["here"] == ["half-time", "bars 7-9: crashes"]
    assert words(ready, label="C", bar=9, bars=3)["here"] == ["ride", "bars 7-9: crashes"]


def test_a_client_who_wrote_nothing_has_no_words(ready: Page) -> None:
    empty = {"feel": "", "notes": " \n", "references": ""}
    assert ask(ready, "kit/words", "m.wordsFor(given[0], null)", empty) == {"whole": [], "here": []}


def test_after_the_last_bar_of_a_loop_comes_its_first(ready: Page) -> None:
    """Bars 3 and 4 last from 6 s to 10 s."""
    after = "[2, 3, 4, 5].map((bar) => m.barAfter(given[0], bar, given[1]))"
    assert ask(ready, "kit/form", after, SONG, None) == [3, 4, 5, 6]
    assert ask(ready, "kit/form", after, SONG, {"startS": 6, "endS": 10}) == [3, 4, 3, 6]
