"""Exact periods from attacks, and attacks from sound."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.features.attacks import attacks_of
from analysis.tempo.evidence import pool
from analysis.tempo.grid import fit_grid
from analysis.tempo.period import impulse_bpm, refined_bpm
from tests.analysis.playing import band, features_of, placed, pluck


@pytest.mark.parametrize("bpm", [63.27, 112.0, 174.55])
def test_a_line_through_all_attacks_finds_the_period(bpm: float) -> None:
    music = pool([features_of(band(0.6 + np.arange(int(45 * bpm / 60)) * 60 / bpm, scatter_s=0.006))])
    assert music is not None

    fit = fit_grid(music, 60 / bpm * 1.0003)

    assert fit is not None
    assert fit.bpm == pytest.approx(bpm, abs=0.02)
    assert abs(fit.bpm - bpm) < 3.5 * fit.bpm_error
    assert impulse_bpm(music, fit) == pytest.approx(bpm, abs=0.02)
    assert refined_bpm(music, fit, 0.6) == pytest.approx(bpm, abs=0.02)


def test_attacks_are_the_notes_and_not_the_ripples_of_their_decay() -> None:
    times = 0.5 + np.arange(20) * 0.61

    attacks = attacks_of(features_of(placed([(time, pluck(7, seconds=0.6)) for time in times], 14)))

    played = attacks.times_s[~attacks.is_bass & (attacks.weight > 0.3)]
    assert played == pytest.approx(times, abs=0.004)


def test_a_soft_attack_is_a_poorer_clock_than_a_sharp_one() -> None:
    soft = pluck(20).copy()
    soft[:2400] *= np.linspace(0, 1, 2400) ** 3

    sharp_one = attacks_of(features_of(placed([(0.5 + index, pluck(20)) for index in range(8)], 9)))
    soft_one = attacks_of(features_of(placed([(0.5 + index, soft) for index in range(8)], 9)))

    assert np.median(soft_one.sharpness[~soft_one.is_bass]) < np.median(sharp_one.sharpness[~sharp_one.is_bass])
