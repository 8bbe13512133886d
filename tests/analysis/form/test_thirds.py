from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.form.thirds import written_in_thirds
from analysis.maps.tempo_map import MeterSign
from tests.analysis.form.played import clock_of, played

BARS = 8
BEATS = (1, 2, 3, 4)
LATE_THIRDS = tuple(beat + 2 / 3 for beat in BEATS)
ALL_THIRDS = LATE_THIRDS + tuple(beat + 1 / 3 for beat in BEATS)
STRAIGHT = tuple(beat + part / 4 for beat in BEATS for part in (1, 2, 3))


@pytest.mark.parametrize(
    ("off_beats", "sign"), [(ALL_THIRDS, "12/8"), (LATE_THIRDS, "4/4"), (STRAIGHT, "4/4"), ((), "4/4")]
)
def test_four_beats_all_in_thirds_are_written_in_twelve_and_a_shuffle_is_not(
    off_beats: tuple[float, ...], sign: str
) -> None:
    clock = clock_of(BARS, bar_s=3.0)
    sound = played(clock, {bar: {0: (*BEATS, *off_beats)} for bar in range(1, BARS + 1)})

    found = written_in_thirds(clock, sound)

    assert {str(one) for one in found.signs} == {sign}
    assert list(found.downbeats_s) == list(clock.downbeats_s)


def test_short_bars_are_written_in_eighths_too() -> None:
    lines = np.array([0, 3.0, 6.0, 7.5, 10.5, 13.5])
    signs = tuple(MeterSign(upper, 4) for upper in (4, 4, 2, 4, 4))
    clock = dataclasses.replace(clock_of(5), downbeats_s=lines, signs=signs)
    sound = played(clock, {bar: {0: [1, 1 + 1 / 3, 1 + 2 / 3, 2, 2 + 1 / 3, 2 + 2 / 3]} for bar in range(1, 6)})

    assert [str(one) for one in written_in_thirds(clock, sound).signs] == ["12/8", "12/8", "6/8", "12/8", "12/8"]


def test_bars_that_count_in_eighths_already_stay_as_they_are() -> None:
    clock = clock_of(BARS, meter="6/8")
    sound = played(clock, {bar: {0: range(1, 7)} for bar in range(1, BARS + 1)})

    assert written_in_thirds(clock, sound) is clock
