"""A map with the playing on it: where bars and beats stand, and what a page is given to draw."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from analysis.maps.anchors import Anchor, anchors_of, map_through
from analysis.maps.playing import MOST_DOTS, bars_of, beats_of, dots_of, playing_on_map
from analysis.maps.residual import PooledAttacks, residual_of
from analysis.maps.tempo_map import MeterSign, TempoMap

NO_ATTACKS = PooledAttacks(np.zeros(0), np.zeros(0))


def test_bars_that_begin_in_a_free_passage_say_so() -> None:
    """At 120 a bar lasts 2 s; bars 3 and 4 are free for 7 s, so bar 5 begins at 11 s."""
    four = MeterSign(4, 4)
    anchors = [Anchor(1, Fraction(0), four), Anchor(3, Fraction(4), four, free=True), Anchor(5, Fraction(11), four)]
    bars = list(bars_of(map_through(anchors, last_bpm=Fraction(120)), 14.0))

    assert [(bar["bar"], bar["time_s"]) for bar in bars] == [
        (1, 0.0),
        (2, 2.0),
        (3, 4.0),
        (4, 7.5),
        (5, 11.0),
        (6, 13.0),
    ]
    assert [bar.get("free") for bar in bars] == [None, None, True, True, None, None]


def test_the_bars_of_three_hours_reach_their_end() -> None:
    """180 BPM in 4/4: a bar every 4/3 s, 8 100 of them in 10 800 s."""
    bars = list(bars_of(TempoMap.constant(180), 10_800.0))
    assert (len(bars), bars[-1]["bar"]) == (8_100, 8_100)


@pytest.mark.parametrize(("duration_s", "last_s"), [(3.25, 3.0), (3.0, 2.5)])
def test_no_beat_is_laid_where_the_song_is_over(duration_s: float, last_s: float) -> None:
    """120 BPM from 0 s: a beat every half second, also in the bar that the song ends in."""
    assert beats_of(TempoMap.constant(120), duration_s)[-1][0] == last_s


def test_a_song_whose_every_beat_is_12_ms_late_is_12_ms_late_in_every_bar() -> None:
    """120 BPM: a bar lasts 2 s. Attacks on all beats of the first eight bars, each 12 ms late."""
    tempo_map = TempoMap.constant(120)
    attacks = PooledAttacks(np.arange(32, dtype=np.float64) / 2 + 0.012, np.ones(32))
    drawn = playing_on_map(tempo_map, anchors_of(tempo_map), attacks, 16.0)

    assert [bar["late_ms"] for bar in drawn["bars"]] == [12.0] * 8
    assert [bar["attacks"] for bar in drawn["bars"]] == [4] * 8
    assert drawn["spread_ms"] == 12.0
    assert drawn["stretches"] == [
        {"bpm": 120.0, "beat_s": 0.5, "beat": "", "late_ms": 12.0, "spread_ms": 0.0, "attacks": 32}
    ]
    assert drawn["dots"][0] == [0.012, 12.0, 1.0]


def test_without_attacks_nothing_is_late() -> None:
    tempo_map = TempoMap.constant(120)
    drawn = playing_on_map(tempo_map, anchors_of(tempo_map), NO_ATTACKS, 4.0)

    assert (drawn["dots"], drawn["spread_ms"]) == ([], None)
    assert [bar["late_ms"] for bar in drawn["bars"]] == [None, None]


def test_the_strongest_attacks_are_drawn_where_there_are_too_many() -> None:
    """One attack more than can be drawn: the weakest, at 0 s, is left out."""
    weight = np.linspace(0.5, 1.0, MOST_DOTS + 1)
    dots = dots_of(residual_of(TempoMap.constant(120), np.arange(MOST_DOTS + 1, dtype=np.float64) / 2, weight))

    assert len(dots) == MOST_DOTS
    assert dots[0][0] == 0.5
