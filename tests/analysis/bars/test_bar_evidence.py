"""Numbers on where the bar begins, by name."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.bars.bar_evidence import (
    CONTRAST_COLUMNS,
    END_COLUMNS,
    REPEAT_COLUMNS,
    WITHIN_COLUMNS,
    Repeats,
    bar_contrast,
    bar_signals,
    end_evidence,
    repeats_of,
    within_bars,
)
from analysis.bars.beat_table import BeatTable, Prepared, beat_table, prepare
from tests.analysis.onsets import even_beats, onset_evidence

BEATS_S = even_beats(120, 64)


def song_of_chords(beats_a_chord: int) -> tuple[Prepared, BeatTable]:
    """An attack on every beat, a bass note and another chord on every bar line, from 0.5 s on."""
    evidence = onset_evidence(
        np.repeat(BEATS_S, 2), bass=[index % (2 * beats_a_chord) == 1 for index in range(2 * len(BEATS_S))]
    )
    chord = np.floor((evidence.harmony_s - 0.5 + 0.01) / (0.5 * beats_a_chord)).astype(int) % 4
    chroma = np.eye(12)[3 * np.maximum(chord, 0)]
    prepared = prepare(dataclasses.replace(evidence, chroma=chroma, bass=chroma))
    table = beat_table(prepared, 0.5, 0.5)
    assert table is not None
    return prepared, table


def test_the_harmony_marks_the_downbeat() -> None:
    _, table = song_of_chords(4)
    signals = bar_signals(table)
    means = np.stack([signals[:, beat::4].mean(axis=1) for beat in range(4)])

    by_beat = [dict(zip(CONTRAST_COLUMNS, bar_contrast(means, beat), strict=True)) for beat in range(4)]

    assert signals.mean(axis=1) == pytest.approx(0, abs=1e-9)
    for signal in ("harmony_change", "bass_change", "bass_attacks"):
        assert np.argmax([found[f"bar.stands_out.{signal}"] for found in by_beat]) == 0
    assert by_beat[0]["bar.margin.harmony_change"] > 0 > by_beat[1]["bar.margin.harmony_change"]


def test_one_chord_a_bar_is_even_within_the_bars_that_begin_with_it() -> None:
    _, table = song_of_chords(4)

    by_start = [dict(zip(WITHIN_COLUMNS, row, strict=True)) for row in within_bars(table, 4)]

    assert np.argmin([found["within.chroma"] for found in by_start]) == 0
    assert by_start[0]["within.chroma"] < 0.05 < by_start[2]["within.chroma"]
    assert by_start[0]["within.chroma_re_others"] < 0 < by_start[2]["within.chroma_re_others"]


def test_four_chords_come_again_after_four_bars() -> None:
    _, table = song_of_chords(4)

    found = dict(zip(REPEAT_COLUMNS, repeats_of(Repeats.of(table), 4), strict=True))

    assert found["repeats.harmony.four"] > 0.5
    assert found["repeats.harmony.four_re_near"] > 0
    assert found["repeats.harmony.one"] < 0


def test_first_and_last_sound_are_placed_within_the_bar() -> None:
    prepared, table = song_of_chords(4)

    on_bar = dict(zip(END_COLUMNS, end_evidence(prepared, table, 4, 0), strict=True))
    one_before = dict(zip(END_COLUMNS, end_evidence(prepared, table, 4, 1), strict=True))
    two_before = dict(zip(END_COLUMNS, end_evidence(prepared, table, 4, 2), strict=True))

    assert (
        on_bar["ends.first_on_bar"] == one_before["ends.first_one_before"] == two_before["ends.first_two_before"] == 1
    )
    # 64 beats: the last attack is on the fourth beat of the last bar.
    assert on_bar["ends.last_place"] == pytest.approx(3 / 4)
    assert on_bar["ends.last_on_bar"] == 0
