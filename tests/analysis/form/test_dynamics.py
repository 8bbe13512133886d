"""Dynamics relative to the song, three decibels a step (house choice)."""

from __future__ import annotations

import numpy as np

from analysis.form.dynamics import dynamics_of

FOUR, EIGHT = range(4), range(4, 8)


def test_a_section_nine_decibels_and_a_half_softer_is_three_steps_down() -> None:
    loudness_db = np.array([-29.5] * 4 + [-20.0] * 4)

    assert dynamics_of(loudness_db, [FOUR, EIGHT]) == ["mp", "ff"]


def test_a_song_that_hardly_changes_is_all_mf() -> None:
    assert dynamics_of(np.array([-20.0] * 4 + [-22.0] * 4), [FOUR, EIGHT]) == ["mf", "mf"]


def test_nothing_is_softer_than_pp() -> None:
    assert dynamics_of(np.array([-90.0] * 4 + [-20.0] * 4), [FOUR, EIGHT]) == ["pp", "ff"]


def test_no_section_has_no_dynamic() -> None:
    assert dynamics_of(np.zeros(0), []) == []
