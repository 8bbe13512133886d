"""Attacks laid at known distances from a map come back at those distances."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.maps.residual import lean_between, leans_by_anchor, leans_by_bar, residual_of
from analysis.maps.tempo_map import TempoMap
from tests.analysis.playing import FREE_MAP

MAP = TempoMap.from_json(
    {
        "segments": [
            {"bar": 1, "time_s": 1.0, "bpm": 120.0, "meter": "4/4"},
            {"bar": 9, "time_s": 17.0, "bpm": 100.0, "meter": "4/4"},
        ]
    }
)


def test_each_attack_is_as_late_as_it_was_laid() -> None:
    """Beats of 0.5 s from 1 s, of 0.6 s from 17 s; off-beats count as well, and what lies before bar one."""
    onset_s = np.array([0.5, 1.02, 1.25 - 0.015, 3.0, 17.6 + 0.03, 17.3])
    late = residual_of(MAP, onset_s, np.ones(6)).late_ms
    assert late == pytest.approx([0.0, 20.0, -15.0, 0.0, 30.0, 0.0], abs=1e-6)


def test_a_tempo_that_is_wrong_shows_as_a_slope() -> None:
    """Played at 120.1 over a map of 120: after 40 beats they are 40 × (0.5 - 60/120.1) = 16.7 ms early."""
    constant = TempoMap.constant(120.0)
    late = residual_of(constant, np.arange(41) * 60 / 120.1, np.ones(41)).late_ms
    assert late[-1] == pytest.approx(-16.65, abs=0.01)
    assert np.all(np.diff(late) < 0)


def test_lean_and_spread_of_a_stretch() -> None:
    dice = np.random.default_rng(3)
    beats = 1.0 + 0.5 * np.arange(32)
    residual = residual_of(MAP, beats + 0.012 + dice.normal(0, 0.006, 32), np.ones(32))
    lean = lean_between(residual, 0.0, 17.0)
    assert lean.late_ms == pytest.approx(12.0, abs=4.0)
    assert lean.spread_ms == pytest.approx(6.0, abs=3.0)
    assert lean.count == 32


def test_too_few_attacks_say_nothing() -> None:
    residual = residual_of(MAP, np.array([1.0, 2.0, 3.0]), np.ones(3))
    first, second = leans_by_anchor(residual, [1.0, 17.0], 60.0)
    assert (first.late_ms, first.count) == (None, 3)
    assert (second.late_ms, second.count) == (None, 0)


def test_what_is_played_in_a_free_passage_is_held_against_nothing() -> None:
    """Free from 8 s to 18 s: of the attacks there, none is left; those around it are as late as they were laid."""
    onset_s = np.array([7.5 + 0.01, 8.0, 9.1, 12.34, 17.99, 18.0 + 0.02, 18.6, 18.9, 19.2])
    residual = residual_of(FREE_MAP, onset_s, np.linspace(1, 9, 9))
    assert residual.time_s == pytest.approx([7.51, 18.02, 18.6, 18.9, 19.2])
    assert residual.late_ms == pytest.approx([10.0, 20.0, 0.0, 0.0, 0.0], abs=1e-6)
    assert list(residual.weight) == [1, 6, 7, 8, 9]
    _, free, after = leans_by_anchor(residual, [0.0, 8.0, 18.0], 60.0)
    assert (free.late_ms, free.spread_ms, free.count) == (None, None, 0)
    assert after.count == 4


def test_an_attack_is_late_in_the_bar_of_its_half_beat() -> None:
    """Bars of 2 s from 1 s on. Bar 2's line is at 3 s: 10 ms ahead of it is early in bar 2. One attack is enough, and
    a bar without any says nothing."""
    residual = residual_of(MAP, np.array([1.02, 1.53, 2.04, 2.99, 7.005]), np.ones(5))
    leans = leans_by_bar(residual, MAP, [1, 2, 3, 4])
    assert [lean.count for lean in leans] == [3, 1, 0, 1]
    assert [leans[at].late_ms for at in (0, 1, 3)] == pytest.approx([30.0, -10.0, 5.0], abs=1e-6)
    assert leans[2].late_ms is None
    assert leans_by_bar(residual, MAP, []) == []


def test_a_free_bar_has_no_lean() -> None:
    """Bar 5 is free from 8 s on: what is 10 ms ahead of its line is held against the half beat there, not its
    own."""
    residual = residual_of(FREE_MAP, np.array([7.01, 7.99, 18.02]), np.ones(3))
    leans = leans_by_bar(residual, FREE_MAP, range(4, 10))
    assert [lean.count for lean in leans] == [1, 0, 0, 0, 0, 1]
    assert leans[-1].late_ms == pytest.approx(20.0, abs=1e-6)
