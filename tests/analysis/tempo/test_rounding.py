"""Choosing between the measured tempo and a round one."""

from __future__ import annotations

from fractions import Fraction

import pytest

from analysis.tempo.rounding import set_tempo


def test_a_whole_tempo_within_the_error_is_chosen() -> None:
    assert set_tempo(111.996, 0.005).bpm == 112


def test_a_whole_tempo_many_errors_away_is_not() -> None:
    assert set_tempo(111.96, 0.005).bpm != 112
    assert set_tempo(111.96, 0.005).bpm == Fraction("111.96")


def test_a_fine_measurement_keeps_its_decimals() -> None:
    assert set_tempo(111.9503, 0.0001).bpm == Fraction("111.95")


def test_the_stated_tempo_wins_among_values_that_fit_alike() -> None:
    assert set_tempo(117.302, 0.01, stated_bpm=117.3).bpm == Fraction("117.3")


def test_a_stated_tempo_that_does_not_fit_is_ignored() -> None:
    assert set_tempo(112.001, 0.004, stated_bpm=118).bpm == 112


@pytest.mark.parametrize("error", [0.0, 0.001, 0.05])
def test_the_interval_holds_measured_and_chosen(error: float) -> None:
    chosen = set_tempo(97.513, error)

    assert chosen.low <= 97.513 <= chosen.high
    assert chosen.low <= chosen.bpm <= chosen.high
    assert 0 < chosen.share <= 1


def test_a_coarser_measurement_has_a_wider_interval() -> None:
    fine, coarse = set_tempo(97.513, 0.002), set_tempo(97.513, 0.02)

    assert coarse.high - coarse.low > 5 * (fine.high - fine.low)
