"""Simulated tappers: Gaussian spread of 10 to 25 ms (sensorimotor synchronisation studies report 2 to 5 % of the beat's
length for non-musicians and less for musicians: from memory), taps left out, taps doubled. The truth is arithmetic."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.maps.taps import fit_taps, is_off_beat, measured_at

TEMPI = (58.0, 84.5, 112.003, 139.98, 171.25)


def taps_of(bpm: float, *, count: int = 24, spread_s: float = 0.02, seed: int = 0, lost: float = 0.0) -> list[float]:
    """Every beat from 1 s on; `lost` is the share left out, and half as many are hit twice 90 ms later."""
    dice = np.random.default_rng(seed)
    beats = [beat for beat in range(count) if beat == 0 or dice.random() >= lost]
    taps = [1.0 + beat * 60 / bpm + dice.normal(0, spread_s) for beat in beats]
    return sorted(taps + [tap + 0.09 for tap in taps if dice.random() < lost / 2])


@pytest.mark.parametrize("bpm", TEMPI)
def test_even_taps_give_the_tempo_exactly(bpm: float) -> None:
    tapped = fit_taps(taps_of(bpm, spread_s=0.0))
    assert tapped is not None
    assert tapped.bpm == pytest.approx(bpm, rel=1e-9)
    assert tapped.spread_ms == pytest.approx(0.0, abs=1e-6)
    assert tapped.used == 24
    assert (tapped.beat_at_s - 1.0) * bpm / 60 % 1 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("spread_s", [0.010, 0.025])
@pytest.mark.parametrize("lost", [0.0, 0.12])
def test_the_interval_holds_the_truth_as_often_as_it_says(spread_s: float, lost: float) -> None:
    """95 % of 300 tappers, plus or minus three standard errors of that share (1.3 %)."""
    held = []
    for seed in range(300):
        bpm = TEMPI[seed % len(TEMPI)]
        tapped = fit_taps(taps_of(bpm, spread_s=spread_s, seed=seed, lost=lost))
        held.append(tapped is not None and tapped.bpm_low <= bpm <= tapped.bpm_high)
    assert np.mean(held) >= 0.95 - 0.038


@pytest.mark.parametrize("spread_s", [0.010, 0.025])
def test_taps_and_measurement_together_are_as_exact_as_the_measurement(spread_s: float) -> None:
    """The engine heard half, double or the right level; the taps pick the level, with one tap in eight left out."""
    right = 0
    for seed in range(300):
        bpm, heard = TEMPI[seed % len(TEMPI)], (0.5, 1.0, 2.0)[seed % 3]
        tapped = fit_taps(taps_of(bpm, spread_s=spread_s, seed=seed, lost=0.12))
        assert tapped is not None
        right += measured_at(tapped, [bpm * heard]) == pytest.approx(bpm)
    assert right / 300 >= 0.99


def test_nothing_measured_near_the_taps_is_said() -> None:
    tapped = fit_taps(taps_of(112.0))
    assert tapped is not None
    assert measured_at(tapped, [97.0]) is None
    assert measured_at(tapped, []) is None


def test_a_level_of_another_reading_is_no_answer() -> None:
    """92.5 BPM with 61.667, two thirds of it, as another reading: 123.333 is twice that and no level of the song."""
    tapped = fit_taps([1.0 + tap * 60 / 124 for tap in range(9)])
    assert tapped is not None
    assert measured_at(tapped, [92.5, 61.667]) is None
    assert measured_at(tapped, [92.5, 61.667, 123.333]) == 123.333


def test_spread_is_the_tapper_s() -> None:
    tapped = fit_taps(taps_of(100.0, count=400, spread_s=0.015))
    assert tapped is not None
    assert tapped.spread_ms == pytest.approx(15.0, rel=0.12)  # three standard errors of a spread from 400 taps


def test_eighths_are_two_taps_a_beat() -> None:
    tapped = fit_taps(taps_of(200.0, spread_s=0.0), taps_per_beat=2)
    assert tapped is not None
    assert tapped.bpm == pytest.approx(100.0)


@pytest.mark.parametrize("taps", [[], [1.0], [1.0, 1.5, 2.0], [1.0] * 9, [0, 0.05, 0.1, 0.15, 0.2], [0, 4, 8, 12, 16]])
def test_too_few_too_fast_or_too_slow_is_no_tempo(taps: list[float]) -> None:
    assert fit_taps(taps) is None


def test_taps_without_a_count_are_no_tempo_or_say_how_little_they_know() -> None:
    for seed in range(50):
        tapped = fit_taps(sorted(np.random.default_rng(seed).uniform(0, 10, 16)))
        assert tapped is None or tapped.bpm_high - tapped.bpm_low > 1.0


def test_off_beats_are_told_from_beats() -> None:
    on, off = fit_taps(taps_of(120.0)), fit_taps([tap + 0.25 for tap in taps_of(120.0)])
    assert on is not None
    assert off is not None
    beats_s = [1.0 + 0.5 * beat for beat in range(120)]
    assert not is_off_beat(on, beats_s, one_s=31.0)
    assert is_off_beat(off, beats_s, one_s=31.0)


def test_taps_on_every_second_beat_lie_on_the_one_or_beside_it() -> None:
    """Beats every 0.5 s from 1 s, the one on the first; a tapper at half the tempo from the first or the second."""
    beats_s = [1.0 + 0.5 * beat for beat in range(120)]
    on, beside = (fit_taps([start_s + tap for tap in range(16)]) for start_s in (11.0, 11.5))
    assert on is not None
    assert beside is not None
    assert not is_off_beat(on, beats_s, one_s=1.0, level=0.5)
    assert is_off_beat(beside, beats_s, one_s=1.0, level=0.5)


@pytest.mark.parametrize("first", range(0, 180, 10))
def test_taps_on_the_beats_of_a_song_that_speeds_up_are_on_them(first: int) -> None:
    """From 100 to 120 BPM over 200 beats, tapped exactly for 16 beats from anywhere."""
    beats_s = np.concatenate([[0.0], np.cumsum(60 / np.linspace(100, 120, 200))]).tolist()
    on = fit_taps(beats_s[first : first + 16])
    between = fit_taps([(one + two) / 2 for one, two in itertools.pairwise(beats_s[first : first + 17])])
    assert on is not None
    assert between is not None
    assert not is_off_beat(on, beats_s, one_s=beats_s[0])
    assert is_off_beat(between, beats_s, one_s=beats_s[0])
