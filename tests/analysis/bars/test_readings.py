"""Uneven and even bars told apart by how the attacks gather, and by where groups of beats begin."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.bar_evidence import group_contrast
from analysis.bars.beat_table import beat_table, prepare
from analysis.tempo.evidence import pool
from tests.analysis.playing import LOOP, Samples, features_of, measured, placed, pluck, song_file


def riff(grouping: tuple[int, ...], pulse_s: float, bars: int) -> Samples:
    """Low note and chord where groups begin, light notes on the pulses between, one chord a bar."""
    rng = np.random.default_rng(4)
    starts = np.cumsum((0, *grouping[:-1]))
    notes = []
    for bar in range(bars):
        root = LOOP[bar % len(LOOP)]
        for pulse in range(sum(grouping)):
            at_s = 0.7 + (bar * sum(grouping) + pulse) * pulse_s + rng.normal(0, 0.004)
            if pulse in starts:
                notes += [(at_s, pluck(root, level=0.3)), (at_s, pluck(root + 24, level=0.12))]
            if pulse == 0:
                notes += [(at_s, pluck(root + tone, level=0.12)) for tone in (28, 31)]
            notes.append((at_s, pluck(root + 36, seconds=0.2, level=0.04)))
    return placed(notes, 0.7 + bars * sum(grouping) * pulse_s + 1)


@pytest.mark.parametrize("grouping", [(2, 2, 3), (3, 2, 2)])
def test_seven_even_pulses_a_bar_are_not_four_beats(grouping: tuple[int, ...]) -> None:
    song = measured(song_file(riff(grouping, 60 / 222, 24))).song

    assert song.meter.beats_per_bar == 7
    assert song.tempo.bpm == pytest.approx(222, abs=0.05)


def test_attacks_on_sevenths_of_the_bar_gather_on_no_part_of_a_quarter_of_it() -> None:
    # Pulses lie 4/7 of a beat apart: whole turns only at 7 pulses a beat, and over 7 pulses all others cancel.
    beat_s, pulse_s = 0.7, 0.4
    music = pool([features_of(placed([(0.5 + index * pulse_s, pluck(24)) for index in range(84)], 35))])
    assert music is not None

    four = beat_table(prepare(music), beat_s, 0.5)
    assert four is not None

    assert four.pulses[6] > 0.7
    assert max(np.delete(four.pulses, 6)) < 0.2


def test_groups_of_an_uneven_bar_stand_out_from_its_other_beats() -> None:
    means = np.zeros((7, 8))
    means[[0, 2, 4]] = 1.0

    at_groups, between = group_contrast(means, 0), group_contrast(means, 1)

    # Each of three kinds of signal is 1 where groups begin and 0 elsewhere; the last is their sum.
    assert at_groups == pytest.approx([1, 1, 1, 3])
    assert between[-1] < 1.5


def test_even_bars_have_no_such_groups() -> None:
    assert not group_contrast(np.ones((4, 8)), 0).any()
