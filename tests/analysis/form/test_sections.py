"""Sections begin where the music changes, and come back under their letter."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.dynamics import STEPS
from analysis.form.sections import find_sections
from analysis.tempo.evidence import pool
from tests.analysis.playing import features_of, placed, pluck

BAR_S = 2.0
VERSE, CHORUS = (0, 9, 5, 7), (2, 4, 11, 6)


def song(form: str, bars: int = 8, *, raised: int = 0) -> Features:
    """So many bars a letter: A plays the verse's chords, B the chorus's, louder and higher; the last A is `raised`."""
    notes = []
    for index, letter in enumerate(form):
        chords, level, octave = (VERSE, 0.12, 24) if letter == "A" else (CHORUS, 0.3, 36)
        up = raised if index == len(form) - 1 else 0
        for beat in range(4 * bars):
            root = chords[beat // 4 % 4] + up
            at_s = 1 + (index * 4 * bars + beat) * BAR_S / 4
            notes += [(at_s, pluck(root + octave + tone, level=level)) for tone in (0, 4, 7)]
            notes.append((at_s, pluck(root, level=level)))
    return features_of(placed(notes, 2 + len(form) * bars * BAR_S))


def downbeats(bars: int) -> Doubles:
    return np.asarray(1 + np.arange(bars + 1) * BAR_S)


def sections_of(form: str, bars: int = 8, *, raised: int = 0) -> list[tuple[int, int, str]]:
    features = song(form, bars, raised=raised)
    music = pool([features])
    assert music is not None
    found = find_sections(music, [features], BarClock.even(downbeats(bars * len(form))))
    assert all(0 <= one.confidence <= 1 for one in found)
    return [(one.start_bar, one.bars, one.label) for one in found]


def test_verse_and_chorus_are_told_apart_and_recognised_again() -> None:
    assert sections_of("ABAB") == [(1, 8, "A"), (9, 8, "B"), (17, 8, "A"), (25, 8, "B")]


@pytest.mark.parametrize("bars", [5, 7, 9])
def test_odd_lengths_are_kept(bars: int) -> None:
    assert [(start, length) for start, length, _ in sections_of("ABA", bars)] == [
        (1, bars),
        (bars + 1, bars),
        (2 * bars + 1, bars),
    ]


def test_a_section_in_another_key_keeps_its_letter() -> None:
    assert [label for _, _, label in sections_of("ABA", raised=2)] == ["A", "B", "A"]


def test_a_song_of_one_loop_has_one_letter() -> None:
    assert {label for _, _, label in sections_of("AAA")} == {"A"}


def test_the_loud_section_is_louder_in_words_too() -> None:
    features = song("AB")
    music = pool([features])
    assert music is not None
    found = find_sections(music, [features], BarClock.even(downbeats(16)))

    assert STEPS.index(found[0].dynamic) < STEPS.index(found[-1].dynamic)


def test_few_bars_have_no_form_and_six_have() -> None:
    features = song("A")
    music = pool([features])
    assert music is not None

    assert find_sections(music, [features], BarClock.even(downbeats(3))) == ()
    assert sum(one.bars for one in find_sections(music, [features], BarClock.even(downbeats(6)))) == 6
