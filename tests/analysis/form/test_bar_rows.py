"""Rows of bars: what is played in a bar stands in its row, at its place."""

from __future__ import annotations

import numpy as np

from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import SLOTS, BarRows, bar_rows
from analysis.form.likeness import likeness
from analysis.form.sections import file_level
from analysis.tempo.evidence import pool
from tests.analysis.playing import features_of, placed, pluck

C4 = 24  # semitones above 65.4 Hz


def rows_of_three_bars() -> BarRows:
    """Bar 1: a C on each beat. Bar 2: an F sharp on the second half. Bar 3: the first again, two semitones higher."""
    notes = [(float(beat) / 2, pluck(C4)) for beat in range(4)]
    notes += [(2 + 1.0, pluck(C4 + 6)), (2 + 1.5, pluck(C4 + 6))]
    notes += [(4 + float(beat) / 2, pluck(C4 + 2)) for beat in range(4)]
    features = features_of(placed(notes, 6.5))
    music = pool([features])
    assert music is not None
    return bar_rows(music, [file_level(features)], BarClock.even(np.array([0.0, 2.0, 4.0, 6.0])))


def test_harmony_keeps_its_place_in_the_bar() -> None:
    rows = rows_of_three_bars()

    assert rows.harmony.shape == (3, SLOTS, 12)
    assert rows.harmony[0, 1].argmax() == 0  # C
    assert rows.harmony[1, 3].argmax() == 6  # F sharp
    assert rows.level_db[1, 0].max() < rows.level_db[1, 2].max() - 10


def test_who_rests_does_not_play() -> None:
    rows = rows_of_three_bars()

    assert rows.players.shape == (3, 1)
    assert rows.players[0, 0] > rows.players[1, 0]


def test_a_bar_two_semitones_higher_is_found_in_that_key() -> None:
    alike = likeness(rows_of_three_bars())

    assert int(alike.harmony[:, 0, 2].argmax()) == 2
    assert alike.harmony[2, 0, 2] > 0.8
    assert alike.rhythm[0, 2] > alike.rhythm[0, 1]
    assert np.allclose(np.diag(alike.rhythm), 1, atol=1e-6)
    assert np.allclose(np.diag(alike.level), 1)
