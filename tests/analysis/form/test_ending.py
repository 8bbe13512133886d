from __future__ import annotations

import numpy as np
import pytest

from analysis.core.chart_draft import Ending
from analysis.form.bar_clock import BarClock
from analysis.form.ending import find_ending
from analysis.maps.tempo_map import MeterSign
from tests.analysis.form.played import clock_of, played, sound_of

BEATS: tuple[float, ...] = (1, 2, 3, 4)
BARS = 10


def groove(last: dict[int, tuple[float, ...]]) -> dict[int, dict[int, tuple[float, ...]]]:
    both = {0: BEATS, 1: BEATS, 2: BEATS, 3: BEATS}
    return {bar: dict(both) for bar in range(1, BARS)} | {BARS: last}


CHORD: dict[int, tuple[float, ...]] = {0: (1,), 1: (1,), 2: (1,), 3: (1,)}


def test_a_short_last_chord_is_a_hit() -> None:
    clock = clock_of(BARS)

    assert find_ending(played(clock, groove(CHORD), rests=[(BARS, 1.5)]), clock) == Ending("hit", BARS)


def test_a_chord_that_rings_through_its_bar_is_held() -> None:
    clock = clock_of(BARS)

    assert find_ending(played(clock, groove(CHORD)), clock) == Ending("held", BARS)


def test_a_last_bar_that_is_played_through_and_cut_off_is_no_ending() -> None:
    clock = clock_of(BARS)
    through = dict.fromkeys(range(4), BEATS)

    assert find_ending(played(clock, groove(through), end_s=20.0), clock) == Ending("none", BARS)


def test_bars_that_get_longer_up_to_a_last_chord_are_a_ritardando() -> None:
    lines = np.concatenate([np.arange(BARS - 1) * 2.0, [16 + 2.6, 16 + 2.6 + 3.4]])
    clock = BarClock(lines, (MeterSign(4, 4),) * BARS, np.zeros(BARS, np.bool_))

    assert find_ending(played(clock, groove(CHORD)), clock) == Ending("ritardando", BARS)


def test_a_short_bar_before_the_end_is_no_ritardando() -> None:
    signs = (MeterSign(4, 4),) * 7 + (MeterSign(2, 4),) + (MeterSign(4, 4),) * 2
    clock = BarClock(np.array([0.0, 2, 4, 6, 8, 10, 12, 14, 15, 17, 19]), signs, np.zeros(BARS, np.bool_))

    assert find_ending(played(clock, groove(CHORD)), clock).kind == "held"


def test_bars_that_are_played_softer_and_softer_are_a_fade() -> None:
    clock = clock_of(BARS)
    sound = played(clock, groove(dict.fromkeys(range(4), BEATS)), fall_db_per_s=12.0)
    start, end = 800, 2000  # the last six bars
    faded = sound.level_db.copy()
    faded[start:end] -= np.linspace(0, 50, end - start)
    faded[end:] = -100.0

    assert find_ending(sound_of(sound.struck, faded), clock) == Ending("fade", BARS)


@pytest.mark.parametrize("bars", [1, 2])
def test_a_song_of_hardly_a_bar_has_an_answer(bars: int) -> None:
    clock = clock_of(bars)

    assert find_ending(played(clock, {1: {0: (1,)}}), clock).bar == bars
