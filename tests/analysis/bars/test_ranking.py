"""Readings ranked by probability, and what their shares say together."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.bars.ranking import Ranking, rank_readings, rank_readings_on, same_bars
from analysis.bars.readings import METER_KINDS, Reading
from analysis.bars.statements import Statements
from analysis.tempo.evidence import Evidence, pool
from analysis.tempo.grid import fit_grid
from tests.analysis.onsets import onset_evidence
from tests.analysis.playing import band, features_of

FOUR, THREE = METER_KINDS[:2]
BEST = Reading(0, 0.5, 0.5, FOUR, 0.5)
LATER = dataclasses.replace(BEST, bar_s=1.0)
IN_THREE = dataclasses.replace(BEST, meter=THREE)
HALF = dataclasses.replace(BEST, period_s=1.0)
RANKING = Ranking((BEST, LATER, IN_THREE, HALF), np.array([0.5, 0.2, 0.2, 0.1]), ())


def music() -> Evidence:
    pooled = pool([features_of(band(0.5 + np.arange(65) * 0.5))])
    assert pooled is not None
    return pooled


def test_confidences_add_up_what_agrees() -> None:
    assert RANKING.tempo_confidence == pytest.approx(0.9)
    assert RANKING.meter_confidence == pytest.approx(0.7)
    assert RANKING.bar_confidence == pytest.approx(0.5)


def test_where_odd_bars_were_found_the_bars_are_as_sure_as_those_make_them() -> None:
    assert dataclasses.replace(RANKING, share_of_bars=0.8).bar_confidence == pytest.approx(0.7 * 0.8)


def test_ruling_the_best_tempo_out_leaves_the_others_as_they_were() -> None:
    left = RANKING.without_best_tempo()

    assert left is not None
    assert left.readings == (HALF,)
    assert list(left.probability) == [0.1]
    assert left.without_best_tempo() is None


def test_bar_lines_a_whole_number_of_bars_apart_are_the_same() -> None:
    assert same_bars(dataclasses.replace(BEST, bar_s=BEST.bar_s + 6.0 + 0.05), BEST)
    assert not same_bars(LATER, BEST)
    assert not same_bars(IN_THREE, BEST)


def test_a_band_in_four_is_read_so_and_the_likeliest_comes_first() -> None:
    ranking = rank_readings(music(), Statements())

    assert ranking is not None
    assert ranking.best.meter == FOUR
    assert ranking.best.bpm == pytest.approx(120, abs=0.05)
    assert ranking.probability.sum() == pytest.approx(1)
    assert (np.diff(ranking.probability) <= 0).all()


def test_what_people_state_makes_a_reading_likelier() -> None:
    evidence = music()
    plain = rank_readings(evidence, Statements())
    stated = rank_readings(evidence, Statements(tempi=((60.0, 12.0),)))
    assert plain is not None
    assert stated is not None

    def half(reading: Reading) -> bool:
        return abs(reading.bpm / 60 - 1) < 0.006

    assert stated.share(half) > plain.share(half) > 0


def test_on_a_given_grid_only_its_own_tempo_is_read() -> None:
    evidence = music()
    fit = fit_grid(evidence, 0.5)
    assert fit is not None

    ranking = rank_readings_on(evidence, fit, Statements())

    assert ranking is not None
    assert {reading.period_s for reading in ranking.readings} == {fit.period_s}


def test_a_sound_without_a_pulse_has_no_readings() -> None:
    assert rank_readings(onset_evidence([0.5]), Statements()) is None
