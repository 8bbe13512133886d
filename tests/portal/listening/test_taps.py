"""Taps on the one. Places are arithmetic: 120 BPM, so beats are 0.5 s and bars of 4/4 two seconds."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.maps.tempo_map import TempoMap
from portal.listening.taps import tapped_one

MAP = TempoMap.constant("120", "4/4", 1.0)


@pytest.mark.parametrize("beats", [-1, 0, 1, 2])
def test_taps_with_a_person_s_spread_find_the_beat(beats: int) -> None:
    """Spread of 25 ms and 60 ms late throughout: both are less than half a beat (250 ms)."""
    dice = np.random.default_rng(7)
    taps = [1.0 + 2.0 * bar + 0.5 * beats + 0.06 + dice.normal(0, 0.025) for bar in range(2, 7)]
    tapped = tapped_one(MAP, taps)
    assert tapped is not None
    assert (tapped.beats_later, tapped.is_clear) == (beats, True)


def test_one_tap_missed_or_doubled_changes_nothing() -> None:
    taps = [1.5, 3.5, 3.52, 7.5]
    tapped = tapped_one(MAP, taps)
    assert tapped is not None
    assert (tapped.beats_later, tapped.is_clear) == (1, True)


def test_taps_on_every_beat_point_nowhere() -> None:
    tapped = tapped_one(MAP, [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5])
    assert tapped is not None
    assert not tapped.is_clear


def test_no_taps_say_nothing() -> None:
    assert tapped_one(MAP, []) is None


def test_in_three_four_the_third_beat_is_one_beat_early() -> None:
    tapped = tapped_one(TempoMap.constant("120", "3/4", 0), [1.0, 2.5, 4.0])
    assert tapped is not None
    assert tapped.beats_later == -1


def test_taps_in_a_free_passage_are_held_against_nothing() -> None:
    """Free from 9 s to 19 s; in time again from 19 s, where the taps lie on the second beat."""
    segments = [
        {"bar": 1, "time_s": 1, "bpm": 120, "meter": "4/4"},
        {"bar": 5, "time_s": 9, "bpm": 96, "meter": "4/4", "free": True},
        {"bar": 9, "time_s": 19, "bpm": 120, "meter": "4/4"},
    ]
    free = TempoMap.from_json({"segments": segments})
    tapped = tapped_one(free, [9.0, 11.7, 14.2, 18.9, 19.5, 21.5])
    assert tapped is not None
    assert tapped.beats_later == 1
    assert tapped.agreement == pytest.approx(1.0)
    assert tapped_one(free, [10.0, 12.0]) is None
