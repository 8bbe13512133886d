from fractions import Fraction

import numpy as np
import pytest

from analysis.band.clock import Clock, Drift, Rubato, Slowing, Steady, Step, TempoPlan
from analysis.maps.tempo_map import MeterSign

FOUR = MeterSign(4, 4)


def clock(plan: TempoPlan, *, bars: int = 120, meter: MeterSign = FOUR, bar_one_s: Fraction = Fraction(0)) -> Clock:
    return Clock.from_plan(plan, (meter,) * bars, bar_one_s)


@pytest.mark.parametrize(
    ("bar", "frame"),
    [(1, 0), (2, 102_857), (3, 205_714), (4, 308_571), (5, 411_429), (8, 720_000), (9, 822_857), (17, 1_645_714),
     (33, 3_291_429), (65, 6_582_857), (113, 11_520_000)],
)  # fmt: skip
def test_bars_at_112_fall_on_the_frames_that_exact_arithmetic_gives(bar: int, frame: int) -> None:
    # Source: arithmetic, round((bar - 1) * 4 * 60 * 48000 / 112); adding rounded beats misses bar 113 by 128.
    assert clock(Steady(Fraction(112))).frame_of_bar(bar, 48_000) == frame


@pytest.mark.parametrize(("bar", "frame"), [(2, 124_541), (3, 249_081), (5, 498_162), (9, 996_324), (38, 4_608_000)])
def test_bars_at_92_and_a_half(bar: int, frame: int) -> None:
    # Source: arithmetic, as above at 92.5.
    assert clock(Steady(Fraction("92.5"))).frame_of_bar(bar, 48_000) == frame


def test_compound_meters_count_dotted_quarters() -> None:
    # Source: arithmetic. A dotted quarter at 72 is 40 000 frames of 48 kHz, a bar of 6/8 is 80 000.
    rolling = clock(Steady(Fraction(72)), meter=MeterSign(6, 8))

    assert rolling.frame_of_bar(1, 48_000, beat=1) == 40_000
    assert rolling.frame_of_bar(2, 48_000) == 80_000


def test_a_two_bar_count_in_lasts_as_long_as_two_bars() -> None:
    # Source: arithmetic. 112 at 48 kHz: 205 714.29 frames, 4.285714 s.
    late = clock(Steady(Fraction(112)), bar_one_s=Fraction(8 * 60, 112))

    assert late.frame_of_bar(1, 48_000) == 205_714
    assert late.frame_of_bar(-1, 48_000) == 0


def test_a_step_changes_the_tempo_at_its_bar_and_not_before() -> None:
    stepped = clock(Step(Fraction(120), Fraction(96), at_bar=3), bars=4)

    assert [stepped.time_of_bar(bar) for bar in range(1, 6)] == [0, 2, 4, Fraction("6.5"), 9]


def test_a_drift_stays_within_its_depth_and_comes_back() -> None:
    drifting = clock(Drift(Fraction(100), depth=0.02, period_beats=80), bars=40)
    beats_s = np.diff([float(start) for start in drifting.beat_starts_s])

    assert 60 / beats_s.max() == pytest.approx(98, abs=0.01)
    assert 60 / beats_s.min() == pytest.approx(102, abs=0.01)
    assert float(drifting.time_of_bar(21)) == pytest.approx(80 * 0.6, rel=0.001)


def test_moving_tempos_are_exact_to_the_microsecond() -> None:
    for plan in (Drift(Fraction(97)), Slowing(Fraction(97)), Rubato(Fraction(97))):
        end_s = clock(plan, bars=50).time_of_bar(51)
        constant_part = Fraction(60 * 192, 97) if isinstance(plan, Slowing) else 0
        assert 10**6 % (end_s - constant_part).denominator == 0


def test_an_ending_slows_only_over_its_last_beats() -> None:
    slowing = clock(Slowing(Fraction(120), last_beats=4, by=0.4), bars=3)
    beats_s = np.diff([float(start) for start in slowing.beat_starts_s])

    assert beats_s[:8] == pytest.approx(0.5)
    # Source: arithmetic, 0.5 s / (1 - 0.4 * (n + 1/2) / 4) for n = 0..3.
    assert beats_s[8:] == pytest.approx([0.526316, 0.588235, 0.666667, 0.769231], abs=1e-6)


def test_a_short_bar_moves_all_later_bars() -> None:
    short = Clock.from_plan(Steady(Fraction(120)), (FOUR, MeterSign(2, 4), FOUR), Fraction(0))

    assert [short.time_of_bar(bar) for bar in (1, 2, 3, 4)] == [0, 2, 3, 5]


def test_many_beats_at_once_agree_with_one_at_a_time() -> None:
    drifting = clock(Drift(Fraction(88)), bars=8, bar_one_s=Fraction(3))
    beats = [Fraction(-5, 2), Fraction(0), Fraction(7, 3), Fraction(31), Fraction(32), Fraction(33)]
    one_by_one = [float(drifting.time_of_beat(beat)) for beat in beats]

    assert drifting.times_of_beats(np.array([float(beat) for beat in beats])) == pytest.approx(one_by_one, abs=1e-9)
