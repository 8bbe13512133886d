"""Other readings in a person's words."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.alternatives import alternatives, at_levels_of, bar_label, tempo_label
from analysis.bars.ranking import Ranking
from analysis.bars.readings import METER_KINDS, Reading
from analysis.core.reports import Alternative

FOUR, THREE = METER_KINDS[0], METER_KINDS[1]


@pytest.mark.parametrize(
    ("ratio", "label"),
    [(0.5, "half"), (2.0, "double"), (1.5, "three halves"), (2 / 3, "two thirds"), (1 / 3, "a third"), (1.2, "")],
)
def test_names_the_level(ratio: float, label: str) -> None:
    assert tempo_label(ratio) == label


@pytest.mark.parametrize(
    ("later_s", "label"),
    [(0.5, "one beat later"), (0.25, "half a beat later"), (1.0, "2 beats later"), (-0.5, "one beat earlier")],
)
def test_names_where_the_bar_begins_instead(later_s: float, label: str) -> None:
    best, other = Reading(0, 0.5, 0.0, FOUR, 10.0), Reading(0, 0.5, 0.0, FOUR, 10.0 + later_s)

    assert bar_label(best, other) == label


def test_another_meter_is_named_by_its_sign() -> None:
    assert bar_label(Reading(0, 0.5, 0.0, FOUR, 0.0), Reading(0, 0.5, 0.0, THREE, 0.0)) == "3/4"


def test_half_double_and_a_beat_either_way_are_always_there_to_pick() -> None:
    best, later = Reading(0, 0.5, 10.0, FOUR, 10.0), Reading(0, 0.5, 10.0, FOUR, 10.5)
    ranking = Ranking((best, later), np.array([0.99, 0.01]), ())

    found = {other.label: other for other in alternatives(ranking, 12.0)}

    assert {"half", "double", "one beat later", "one beat earlier"} == set(found)
    assert (found["half"].bpm, found["double"].bpm) == (60.0, 240.0)
    assert (found["one beat later"].bar_one_s, found["one beat earlier"].bar_one_s) == (12.5, 11.5)
    assert found["one beat later"].weight == pytest.approx(0.01)


def test_bar_one_of_another_reading_is_near_the_song_s_own() -> None:
    best, other = Reading(0, 0.5, 10.0, FOUR, 10.0), Reading(0, 0.5, 10.0, FOUR, 11.0)
    ranking = Ranking((best, other), np.array([0.6, 0.4]), ())

    found = {other.label: other for other in alternatives(ranking, 14.0)}

    assert found["2 beats later"].bar_one_s in (13.0, 15.0)


def test_nothing_begins_before_the_files() -> None:
    best, other = Reading(0, 0.5, 0.1, FOUR, 0.1), Reading(0, 1.0, 0.1, FOUR, 3.1)
    ranking = Ranking((best, other), np.array([0.9, 0.1]), ())

    found = {other.label: other for other in alternatives(ranking, 0.1)}

    assert found["one beat earlier"].bar_one_s == pytest.approx(1.6)
    assert found["half"].bar_one_s == pytest.approx(3.1)


def test_alternatives_are_exact_levels_of_the_tempo_that_was_chosen() -> None:
    """Measured 127.998, chosen 128: half is 64, double 256, a beat later 128; 90 is no level, and stays."""
    others = [Alternative(bpm=bpm, weight=0.1) for bpm in (63.999, 255.996, 127.998, 90.0)]
    assert [other.bpm for other in at_levels_of(others, 128.0)] == [64.0, 256.0, 128.0, 90.0]


def test_what_was_hardly_heard_has_the_song_s_own_bars() -> None:
    """Nobody means 7/4 by "double" of a song in 4/4."""
    best, faint = Reading(0, 0.5, 10.0, FOUR, 10.0), Reading(0, 0.25, 10.0, THREE, 10.0)
    ranking = Ranking((best, faint), np.array([0.9999, 0.0001]), ())
    found = {other.label: other for other in alternatives(ranking, 12.0)}
    assert found["double"].meter == "4/4"
