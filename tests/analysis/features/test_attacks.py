"""New sounds are attacks, held notes are none, and soft sounds are worse clocks."""

import numpy as np
import pytest

from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.features.onsets import FineOnsets
from tests.analysis.playing import RATE_HZ, features_of, placed, pluck

TIMES_S = np.array([0.5, 1.0123, 1.7777, 2.5])


def test_every_note_is_an_attack_at_its_start() -> None:
    attacks = attacks_of(features_of(placed([(time, pluck(36)) for time in TIMES_S], 3.5)))

    high = ~attacks.is_bass
    assert attacks.times_s[high] == pytest.approx(TIMES_S, abs=0.003)
    assert attacks.weight[high].min() > 0.5


def test_a_held_note_has_one_attack() -> None:
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    held = 0.2 * np.sin(2 * np.pi * 300 * time_s) * (1 + 0.1 * np.sin(2 * np.pi * 6 * time_s))

    attacks = attacks_of(features_of(placed([(0.5, held)], 4.0)))

    near_start = np.abs(attacks.times_s - 0.5) < 0.05
    assert attacks.weight[near_start].sum() > 5 * attacks.weight[~near_start].sum()


def test_a_soft_start_is_a_worse_clock_than_a_sharp_one() -> None:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    soft = 0.3 * np.sin(2 * np.pi * 600 * time_s) * np.minimum(1, time_s / 0.04) ** 4 * np.exp(-time_s / 0.3)

    attacks = attacks_of(features_of(placed([(0.5, pluck(36)), (2.0, soft)], 3.5)))

    sharp, late = (attacks.sharpness[np.abs(attacks.times_s - at_s) < 0.08].max() for at_s in (0.5, 2.03))
    assert sharp > 2 * late


def test_a_bass_note_is_marked_as_one() -> None:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    bass = 0.5 * np.sin(2 * np.pi * 60 * time_s) * np.exp(-time_s / 0.3)

    attacks = attacks_of(features_of(placed([(0.5, bass), (1.5, bass)], 3.0)))

    assert attacks.times_s[attacks.is_bass] == pytest.approx([0.5, 1.5], abs=0.03)


def test_silence_has_no_attacks() -> None:
    empty = Features.empty()

    assert isinstance(empty.fine, FineOnsets)
    assert len(attacks_of(empty).times_s) == 0
