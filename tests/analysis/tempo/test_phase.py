"""Where the beat lies, by the onsets on it."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.tempo.phase import refine_phase, weighted_median
from tests.analysis.onsets import even_beats, onset_evidence, scattered

# A rise of energy is seen this much after the sound's start, and taken off.
SEEN_LATE_S = 0.0025


def test_the_beat_moves_to_the_middle_of_its_onsets() -> None:
    beats_s = scattered(even_beats(120, 200), 0.004)

    assert refine_phase(onset_evidence(beats_s), 0.5, 0.515) == pytest.approx(0.5 - SEEN_LATE_S, abs=0.001)


def test_halves_count_and_other_places_do_not() -> None:
    halves = 0.75 + np.arange(60) * 0.5
    quarters = 0.635 + np.arange(60) * 0.5  # 10 ms late on the quarter after the beat

    found = refine_phase(onset_evidence(np.sort(np.concatenate([halves, quarters]))), 0.5, 0.51)

    assert found == pytest.approx(0.5 - SEEN_LATE_S, abs=1e-6)


def test_with_next_to_nothing_near_the_beat_it_stays() -> None:
    assert refine_phase(onset_evidence([0.6, 1.1, 1.6]), 0.5, 0.5) == 0.5


def test_the_weighted_median_is_where_half_of_the_weight_is_reached() -> None:
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 1.0])) == 2.0
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.array([5.0, 1.0, 1.0])) == 3.0
