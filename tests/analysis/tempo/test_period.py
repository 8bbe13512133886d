"""Periods that all attacks agree on."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.tempo.evidence import pool
from analysis.tempo.grid import fit_grid
from analysis.tempo.period import impulse_bpm, line_bpm, refined_bpm
from tests.analysis.onsets import even_beats, onset_evidence, scattered
from tests.analysis.playing import features_of, placed, pluck


@pytest.mark.parametrize("bpm", [63.27, 112.0, 174.55])
def test_both_views_find_the_tempo_of_scattered_playing(bpm: float) -> None:
    beats_s = even_beats(bpm, int(2 * bpm))
    music = onset_evidence(scattered(beats_s, 0.006))
    fit = fit_grid(music, 60 / bpm)
    assert fit is not None

    assert impulse_bpm(music, fit) == pytest.approx(bpm, abs=0.02)
    assert line_bpm(music, fit.bpm, 0.5) == pytest.approx(bpm, abs=0.02)


def test_the_answer_is_the_mean_of_both_views() -> None:
    music = onset_evidence(scattered(even_beats(120, 100), 0.008))
    fit = fit_grid(music, 0.5)
    assert fit is not None

    both = [impulse_bpm(music, fit), line_bpm(music, impulse_bpm(music, fit), 0.5)]

    assert refined_bpm(music, fit, 0.5) == pytest.approx(np.mean(both), abs=1e-3)


def test_a_player_who_is_always_late_does_not_bend_the_tempo() -> None:
    beats_s = 0.6 + np.arange(80) * 0.5
    first = placed([(time, pluck(7)) for time in beats_s], 42)
    enters_late = placed([(time + 0.012, pluck(24)) for time in beats_s[40:]], 42)
    music = pool([features_of(first), features_of(enters_late)])
    assert music is not None

    assert line_bpm(music, 120.02, 0.6) == pytest.approx(120, abs=0.005)
