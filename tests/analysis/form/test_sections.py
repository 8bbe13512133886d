"""Sections begin where the music changes, and come back under their letter."""

from __future__ import annotations

import numpy as np

from analysis.core.reports import Section
from analysis.form.sections import find_sections
from analysis.tempo.evidence import Evidence, pool
from tests.analysis.playing import features_of, placed, pluck

BAR_S = 2.0
VERSE, CHORUS = (0, 9, 5, 7), (2, 4, 11, 6)


def song(form: str) -> Evidence:
    """Eight bars a letter: A plays the verse's chords, B the chorus's, louder and higher."""
    notes = []
    for index, letter in enumerate(form):
        chords, level, octave = (VERSE, 0.12, 24) if letter == "A" else (CHORUS, 0.3, 36)
        for beat in range(32):
            root = chords[beat // 4 % 4]
            at_s = 1 + (index * 32 + beat) * BAR_S / 4
            notes += [(at_s, pluck(root + octave + tone, level=level)) for tone in (0, 4, 7)]
            notes.append((at_s, pluck(root, level=level)))
    evidence = pool([features_of(placed(notes, 2 + len(form) * 8 * BAR_S))])
    assert evidence is not None
    return evidence


def downbeats(form: str) -> np.ndarray:
    return np.asarray(1 + np.arange(8 * len(form) + 1) * BAR_S)


def test_verse_and_chorus_are_told_apart_and_recognised_again() -> None:
    sections = find_sections(song("ABAB"), downbeats("ABAB"))

    assert sections == (Section(1, 8, "A"), Section(9, 8, "B"), Section(17, 8, "A"), Section(25, 8, "B"))


def test_a_song_of_one_loop_is_one_section() -> None:
    assert find_sections(song("AAA"), downbeats("AAA")) == (Section(1, 24, "A"),)


def test_a_few_bars_have_no_form() -> None:
    assert find_sections(song("A"), downbeats("A")[:6]) == ()
