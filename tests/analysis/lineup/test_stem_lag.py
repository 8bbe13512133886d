"""How far attacks lie off given beats."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.lineup.stem_lag import coherent_lag, median_lag_s

BEATS: Doubles = 1 + np.arange(81, dtype=np.float64) * 0.5


def attacks(late_s: float, *, places: tuple[float, ...] = (0, 0.5), scatter_s: float = 0.004) -> Doubles:
    rng = np.random.default_rng(4)
    exact = np.add.outer(BEATS[:-1], np.array(places) * 0.5).ravel()
    return np.asarray(np.sort(exact + late_s + rng.normal(0, scatter_s, len(exact))))


@pytest.mark.parametrize("late_s", [-0.02, 0.0, 0.046])
def test_finds_the_lag_and_that_the_attacks_agree(late_s: float) -> None:
    times = attacks(late_s)

    lag = coherent_lag(times, np.ones(len(times)), BEATS)

    assert lag is not None
    assert lag.seconds == pytest.approx(late_s, abs=0.002)
    assert lag.coherence > 0.9
    assert median_lag_s(times, np.ones(len(times)), BEATS) == pytest.approx(late_s, abs=0.002)


def test_a_lag_of_a_whole_subdivision_cannot_be_seen() -> None:
    times = attacks(0.25)

    lag = coherent_lag(times, np.ones(len(times)), BEATS)

    assert lag is not None
    assert lag.seconds == pytest.approx(0, abs=0.002)


def test_attacks_anywhere_do_not_agree() -> None:
    times = np.sort(np.random.default_rng(1).uniform(1, 41, 300))

    lag = coherent_lag(times, np.ones(300), BEATS)

    assert lag is not None
    assert lag.coherence < 0.3


def test_too_few_attacks_say_nothing() -> None:
    assert coherent_lag(BEATS[:5], np.ones(5), BEATS) is None
    assert median_lag_s(BEATS[:5], np.ones(5), BEATS) is None
    assert coherent_lag(BEATS, np.ones(81), np.zeros(0)) is None
