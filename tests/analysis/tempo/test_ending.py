"""Endings that slow down, and endings that do not."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.tempo.ending import find_slowing, slowing_clock
from tests.analysis.onsets import even_beats, onset_evidence, scattered

PERIOD_S = 0.5
STEADY_BEATS, SLOW_BEATS = 80, 8
PER_BEAT = 0.06


def slowing_song(per_beat: float) -> Doubles:
    """Beats of half a second, the last eight slower one by one: the tempo falls by `per_beat` by itself with each."""
    tempo = np.concatenate([np.ones(STEADY_BEATS), 1 - per_beat * np.arange(1, SLOW_BEATS + 1)])
    return 0.5 + np.concatenate([[0.0], np.cumsum(PERIOD_S / tempo)])


def test_a_slowing_end_is_found_where_it_begins() -> None:
    beats_s = slowing_song(PER_BEAT)

    slowing = find_slowing(onset_evidence(beats_s), PERIOD_S, np.array([0.5]))

    assert slowing is not None
    assert slowing.start_s == pytest.approx(beats_s[STEADY_BEATS], abs=2 * PERIOD_S)
    assert slowing.per_beat == pytest.approx(PER_BEAT, abs=0.02)


def test_on_the_clock_of_a_slowing_song_all_beats_are_even() -> None:
    beats_s = slowing_song(PER_BEAT)
    evidence = onset_evidence(beats_s)
    slowing = find_slowing(evidence, PERIOD_S, np.array([0.5]))
    assert slowing is not None

    lengths_s = np.diff(slowing_clock(evidence, PERIOD_S, slowing).to_even(beats_s))

    assert lengths_s[: STEADY_BEATS - 2] == pytest.approx(PERIOD_S)
    assert lengths_s == pytest.approx(PERIOD_S, abs=0.03)


def test_a_steady_end_is_left_alone() -> None:
    beats_s = scattered(even_beats(120, 90), 0.006)

    assert find_slowing(onset_evidence(beats_s), PERIOD_S, np.array([0.5])) is None


def test_too_few_onsets_say_nothing() -> None:
    assert find_slowing(onset_evidence([0.5, 1.0, 1.5, 2.0]), PERIOD_S, np.array([0.5])) is None
