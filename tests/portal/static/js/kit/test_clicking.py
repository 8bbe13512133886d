"""Which clicks practice plays. Every place is arithmetic: beats of half a second from 1 s, four to a bar."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from analysis.maps.tempo_map import MeterSign
from tests.portal.static.js.lib.test_sums import ask

pytestmark = pytest.mark.browser

BARS = [{"bar": bar, "time_s": 1.0 + 2.0 * (bar - 1), "beats": 4, "meter": "4/4"} for bar in range(1, 5)]
BEATS = [[1.0 + 0.5 * beat, 0 if beat % 4 else 1] for beat in range(16)]


def clicks(page: Page, *, subdivision: str = "beat", pattern: tuple[int, int] = (1, 0), **song: Any) -> Any:
    asked = {"subdivision": subdivision, "pattern": pattern}
    given = {"bars": BARS, "beats_s": BEATS} | song
    return ask(page, "kit/clicking", "m.clicksOf(given[0], given[1])", given, asked)


def parts(page: Page, meter: str, subdivision: str) -> Any:
    return ask(page, "kit/clicking", "m.partsOfBeat(given[0], given[1])", meter, subdivision)


def test_the_beat_alone_is_the_map_s_own_clicks(ready: Page) -> None:
    assert clicks(ready) == [[*beat, 0] for beat in BEATS]


@pytest.mark.parametrize(("subdivision", "per_beat"), [("eighth", 2), ("triplet", 3), ("sixteenth", 4)])
def test_parts_lie_evenly_between_the_beats(ready: Page, subdivision: str, per_beat: int) -> None:
    found = clicks(ready, subdivision=subdivision)
    assert [one[0] for one in found] == pytest.approx([1.0 + 0.5 * at / per_beat for at in range(16 * per_beat)])
    assert [one[2] for one in found] == [0 if at % per_beat == 0 else 1 for at in range(16 * per_beat)]
    assert sum(one[1] for one in found) == 4


@pytest.mark.parametrize("meter", ["4/4", "3/4", "2/2", "6/8", "12/8", "7/8", "3/8", "9/16"])
@pytest.mark.parametrize(("subdivision", "per_quarter"), [("quarter", 1), ("eighth", 2), ("sixteenth", 4)])
def test_a_beat_has_as_many_parts_as_its_value_holds(
    ready: Page, meter: str, subdivision: str, per_quarter: int
) -> None:
    """A dotted quarter holds three eighths; what does not divide the beat adds nothing (music theory)."""
    sign = MeterSign(*map(int, meter.split("/")))
    held = sign.quarters_per_beat * per_quarter
    assert parts(ready, meter, subdivision) == (held if held.denominator == 1 else 1)


def test_a_triplet_is_three_to_a_quarter_and_to_a_compound_beat(ready: Page) -> None:
    assert [parts(ready, meter, "triplet") for meter in ("4/4", "2/2", "6/8", "12/8", "7/8")] == [3, 6, 3, 3, 1]


def test_bars_without_click_come_in_turn_from_bar_one_on(ready: Page) -> None:
    """Two with and one without: bars 1, 2 and 4 of four; what is before bar one always sounds."""
    found = clicks(ready, pattern=(2, 1))
    assert sorted({round((one[0] - 1.0) // 2.0) + 1 for one in found}) == [1, 2, 4]
    pickup = [{"bar": 0, "time_s": -1.0, "beats": 4, "meter": "4/4"}, *BARS]
    assert clicks(ready, pattern=(1, 9), bars=pickup, beats_s=[[0.0, 0], *BEATS])[0] == [0.0, 0, 0]


def test_the_beat_before_a_free_passage_keeps_its_length(ready: Page) -> None:
    bars = [*BARS[:1], {"bar": 2, "time_s": 3.0, "beats": 4, "meter": "4/4", "free": True}, BARS[3]]
    found = clicks(ready, subdivision="eighth", bars=bars, beats_s=[*BEATS[:4], *BEATS[12:]])
    assert [one[0] for one in found[:10]] == pytest.approx([1.0 + 0.25 * at for at in range(8)] + [7.0, 7.25])


def test_speed_goes_from_half_to_whole_in_steps_of_five(ready: Page) -> None:
    step = "m.speedStep(given[0], given[1])"
    assert [ask(ready, "kit/clicking", step, *given) for given in ((1, 1), (1, -1), (0.5, -1), (0.7, 1))] == [
        1,
        0.95,
        0.5,
        0.75,
    ]
