from __future__ import annotations

import numpy as np
import pytest

from analysis.form.bar_clock import BarClock
from analysis.form.slots import lay_slots, levels_on, pulse_beats, strokes_on
from analysis.maps.tempo_map import MeterSign
from tests.analysis.form.played import clock_of, played

EIGHTHS = (1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5)
SWUNG = (1, 1 + 2 / 3, 2, 2 + 2 / 3, 3, 3 + 2 / 3, 4, 4 + 2 / 3)


@pytest.mark.parametrize(("rhythm", "slots_a_beat"), [(EIGHTHS, 4), (SWUNG, 3)])
def test_the_grid_is_sixteenths_or_triplets_as_the_song_plays_them(
    rhythm: tuple[float, ...], slots_a_beat: int
) -> None:
    clock = clock_of(4)
    sound = played(clock, {bar: {0: rhythm} for bar in range(1, 5)})

    (grid,) = lay_slots(clock, sound)

    assert np.allclose(grid.beats, 1 + np.arange(4 * slots_a_beat) / slots_a_beat)
    assert grid.on_pulse.sum() == 4


def test_in_compound_meters_beats_are_eighths_and_three_of_them_a_pulse() -> None:
    clock = clock_of(4, meter="6/8")

    (grid,) = lay_slots(clock, played(clock, {1: {0: (1, 2)}}))

    assert np.allclose(grid.beats, 1 + np.arange(12) / 2)
    assert list(grid.beats[grid.on_pulse]) == [1, 4]
    assert pulse_beats(MeterSign(6, 8)) == 3
    assert pulse_beats(MeterSign(7, 8)) == 1


def test_a_short_bar_has_fewer_slots_and_a_free_one_none() -> None:
    signs = (MeterSign(4, 4), MeterSign(2, 4), MeterSign(4, 4))
    clock = BarClock(np.array([0.0, 2.0, 3.0, 5.0]), signs, np.array([False, False, True]))

    (grid,) = lay_slots(clock, played(clock, {1: {0: (1, 1.5)}}))

    assert list(grid.bars) == [0, 1]
    assert list(grid.inside.sum(axis=1)) == [16, 8]
    assert grid.times_s[1, 4] == pytest.approx(2.5)


def test_bars_of_another_note_value_have_their_own_grid() -> None:
    signs = (MeterSign(4, 4), MeterSign(4, 4), MeterSign(7, 8))
    clock = BarClock(np.array([0.0, 2.0, 4.0, 5.75]), signs, np.zeros(3, np.bool_))

    first, second = lay_slots(clock, played(clock, {1: {0: (1, 1.5)}}))

    assert (list(first.bars), list(second.bars)) == ([0, 1], [2])
    assert np.allclose(second.beats, 1 + np.arange(14) / 2)


def test_strokes_a_little_early_or_late_count_on_their_slot() -> None:
    clock = clock_of(2)
    sound = played(clock, {1: {0: (1, 2.04), 1: (2.96,)}, 2: {0: (1.5,)}})
    (grid,) = lay_slots(clock, sound)

    strokes = strokes_on(grid, sound.struck)

    assert np.flatnonzero(strokes[0, :, 0]).tolist() == [0, 4]
    assert np.flatnonzero(strokes[0, :, 1]).tolist() == [8]
    assert np.flatnonzero(strokes[1, :, 0]).tolist() == [2]


def test_levels_at_a_slot_and_before_the_slot_after_the_next() -> None:
    clock = clock_of(2)
    sound = played(clock, {1: {0: (1,)}, 2: {0: (1,)}}, fall_db_per_s=10.0)
    (grid,) = lay_slots(clock, sound)

    loud, quiet = levels_on(grid, sound.level_db)

    # 10 dB a second: 23 frames after the stroke, the last before the second slot from it, 2.3 dB are gone.
    assert loud[0, 0] == pytest.approx(-10.0)
    assert quiet[0, 0] == pytest.approx(-12.3, abs=0.2)
