"""A stroke begins where its energy jumps."""

import numpy as np
import pytest

from analysis.features.attacks import attacks_of
from analysis.features.strokes import struck_at
from tests import signals
from tests.analysis.playing import features_of, placed


def test_a_stroke_begins_within_a_millisecond_of_its_first_frame() -> None:
    times_s = np.array([0.5, 1.0123, 1.7777, 2.5])
    hits = [(time_s, signals.burst(seed=seed)[:, 0]) for seed, time_s in enumerate(times_s)]
    features = features_of(placed(hits, 3.5))

    assert struck_at(features, times_s + 0.002) == pytest.approx(times_s, abs=0.001)


def test_an_early_attack_is_moved_to_the_stroke() -> None:
    hits = [(0.5 + 0.4 * number, signals.burst(seed=number)[:, 0]) for number in range(5)]
    features = features_of(placed(hits, 3.0))
    attacks = attacks_of(features)
    attacks_s = attacks.times_s[~attacks.is_bass]

    struck_s = struck_at(features, attacks_s)

    assert struck_s == pytest.approx([start_s for start_s, _ in hits], abs=0.001)
    assert np.abs(struck_s - attacks_s).max() < 0.012


def test_without_a_jump_the_attack_stays_where_it_is() -> None:
    features = features_of(signals.tone(hz=300.0, duration_s=2.0))
    attacks_s = np.array([0.7, 1.3])

    assert np.array_equal(struck_at(features, attacks_s), attacks_s)
