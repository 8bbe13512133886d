"""The sums behind the drawn sound and the player, asked in a browser. Expected values are arithmetic."""

from typing import Any

import pytest
from playwright.sync_api import Page

pytestmark = pytest.mark.browser

# 120 BPM in 4/4 for two bars of 2 s, then 90 BPM in 3/4: a bar is 3 * 60 / 90 = 2 s too.
MAP = {
    "bar_one_s": 1.0,
    "segments": [
        {"bar": 1, "time_s": 1.0, "bpm": 120, "meter": "4/4"},
        {"bar": 3, "time_s": 5.0, "bpm": 90, "meter": "3/4"},
    ],
}


def ask(page: Page, module: str, expression: str, *given: Any) -> Any:
    return page.evaluate(
        f"async (given) => {{ const m = await import('kitpost/{module}'); return {expression}; }}", given
    )


def test_bars_of_a_map_stand_where_their_segment_puts_them(ready: Page) -> None:
    bars = ask(ready, "lib/bars", "m.barsOfMap(given[0], 9.5)", MAP)

    assert [(bar["bar"], bar["time_s"]) for bar in bars] == [(1, 1.0), (2, 3.0), (3, 5.0), (4, 7.0), (5, 9.0)]


def test_a_far_bar_is_not_a_sum_of_rounded_bars(ready: Page) -> None:
    one = {"segments": [{"bar": 1, "time_s": 0, "bpm": 7, "meter": "7/8"}]}  # a bar is 60 s

    assert ask(ready, "lib/bars", "m.barsOfMap(given[0], 60001).at(-1)", one) == {
        "bar": 1001,
        "time_s": 60_000,
        "beats": 7,
    }


def test_compound_meters_count_the_dotted_beat(ready: Page) -> None:
    beats = {"4/4": 4, "3/8": 3, "6/8": 2, "7/8": 7, "12/8": 4, "6/4": 6}

    assert ask(ready, "lib/bars", "given[0].map(m.beatsPerBar)", list(beats)) == list(beats.values())


def test_a_free_bar_is_counted_and_has_no_beats(ready: Page) -> None:
    """Bars 1 and 2 of 2 s in time; 3 and 4 free for 6 s; in time from bar 5, at 10 s; free from bar 6, at 12 s."""
    segments = [
        {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
        {"bar": 3, "time_s": 4, "bpm": 80, "meter": "4/4", "free": True},
        {"bar": 5, "time_s": 10, "bpm": 120, "meter": "4/4"},
        {"bar": 6, "time_s": 12, "bpm": 120, "meter": "4/4", "free": True},
    ]
    bars = ask(ready, "lib/bars", "m.barsOfMap(given[0], 15)", {"segments": segments})
    assert [bar.get("free") for bar in bars] == [None, None, True, True, None, True, True]
    assert [bar["time_s"] for bar in bars] == [0, 2, 4, 7, 10, 12, 14]

    places = ask(ready, "lib/bars", "given[1].map((t) => m.placeText(given[0], t))", bars, [3.6, 4, 9.9, 10.6, 13, 17])
    assert places == ["bar 2, beat 4", "bar 3, free", "bar 4, free", "bar 5, beat 2", "bar 6, free", "bar 8, free"]


def test_a_map_without_tempo_has_no_bars(ready: Page) -> None:
    one = {"segments": [{"bar": 1, "time_s": 0, "bpm": 0, "meter": "4/4"}]}

    assert ask(ready, "lib/bars", "m.barsOfMap(given[0], 60)", one) == []


def test_a_time_has_a_bar_and_a_beat(ready: Page) -> None:
    places = {0.5: None, 1.0: (1, 1), 2.49: (1, 3), 2.5: (1, 4), 3.0: (2, 1), 5.0: (3, 1), 6.99: (3, 3), 11.0: (6, 1)}
    expected = [place and {"bar": place[0], "beat": place[1]} for place in places.values()]

    assert (
        ask(ready, "lib/bars", "given[1].map((t) => m.placeAt(m.barsOfMap(given[0], 9.5), t))", MAP, list(places))
        == expected
    )


def test_the_clock_carries_seconds_into_minutes(ready: Page) -> None:
    texts = {0: "0:00.0", 59.96: "1:00.0", 185.24: "3:05.2", 3_661: "61:01.0"}

    assert ask(ready, "lib/bars", "given[0].map((t) => m.clock(t, 1))", list(texts)) == list(texts.values())
    assert ask(ready, "lib/bars", "m.clock(185.24)") == "3:05"
    assert ask(ready, "lib/bars", "m.clock(-1.823, 3)") == "−0:01.823"


def test_numbers_keep_their_distance(ready: Page) -> None:
    # 10 px a bar and 44 px apart: 8 bars are the first power of two with room.
    assert ask(ready, "lib/bars", "m.numberEvery(10, 44)") == 8
    assert ask(ready, "lib/bars", "m.secondsEvery(10, 64)") == 10


def test_zoom_keeps_the_moment_under_the_pointer(ready: Page) -> None:
    view = {"startS": 10, "endS": 30}

    # The moment 15 s stands a quarter from the left; in a window of 10 s it still does: 15 - 2.5 = 12.5.
    assert ask(ready, "lib/viewport", "m.zoomAt(given[0], 15, 0.5, 60, 0.05)", view) == {"startS": 12.5, "endS": 22.5}
    assert ask(ready, "lib/viewport", "m.zoomAt(given[0], 15, 100, 60, 0.05)", view) == {"startS": 0, "endS": 60}
    assert ask(ready, "lib/viewport", "m.pan(given[0], 100, 60)", view) == {"startS": 40, "endS": 60}
    assert ask(ready, "lib/viewport", "m.windowAround(59, 8, 60, 0.05)") == {"startS": 52, "endS": 60}


def test_level_never_goes_above_the_file_and_ramps_for_at_least_50_ms(ready: Page) -> None:
    assert ask(ready, "lib/level", "m.gainOfLevel(6)") == 1
    assert ask(ready, "lib/level", "m.gainOfLevel(-20)") == pytest.approx(0.1)
    assert ask(ready, "lib/level", "m.gainOfLevel(-48)") == 0
    assert ask(ready, "lib/level", "m.START_LEVEL_DB") <= -12
    assert ask(ready, "lib/level", "m.RAMP_MS") >= 50
    assert ask(ready, "lib/level", "[0, 0.5, 1, 2].map((share) => m.rampedGain(0.5, share * m.RAMP_MS))") == [
        0,
        0.25,
        0.5,
        0.5,
    ]
