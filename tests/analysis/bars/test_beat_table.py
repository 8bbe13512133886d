"""What happens on every beat of a grid, by slot."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.bars.beat_table import BeatTable, beat_table, prepare
from analysis.core.samples import Doubles
from tests.analysis.onsets import even_beats, onset_evidence

PERIOD_S = 0.5


def table_of(onset_s: Doubles, period_s: float = PERIOD_S) -> BeatTable:
    table = beat_table(prepare(onset_evidence(onset_s)), period_s, 0.5)
    assert table is not None
    return table


def test_attacks_fall_into_the_slots_of_their_beats() -> None:
    beats_s = even_beats(120, 20)
    table = table_of(np.sort(np.concatenate([beats_s, beats_s[:-1] + 0.25])))

    assert table.beat_s[:20] == pytest.approx(beats_s)
    assert table.onsets[:19, 0] == pytest.approx(1)
    assert table.onsets[:19, 6] == pytest.approx(1)
    assert table.onsets.sum() == 39
    assert not table.bass_onsets.any()


def test_bass_notes_are_counted_apart() -> None:
    beats_s = even_beats(120, 20)
    evidence = onset_evidence(beats_s, bass=[index % 4 == 0 for index in range(20)])

    table = beat_table(prepare(evidence), PERIOD_S, 0.5)

    assert table is not None
    assert list(np.flatnonzero(table.bass_onsets[:, 0])) == [0, 4, 8, 12, 16]
    assert table.onsets.sum() == 15


@pytest.mark.parametrize(("parts", "straight", "thirds"), [(2, True, False), (3, False, True)])
def test_halves_are_straight_and_thirds_are_not(parts: int, straight: bool, thirds: bool) -> None:
    table = table_of(0.5 + np.arange(40 * parts) * PERIOD_S / parts)

    assert (table.on_straight > 0.5, table.on_thirds > 0.5) == (straight, thirds)


def test_even_pulses_gather_at_their_own_number() -> None:
    table = table_of(0.5 + np.arange(120) * PERIOD_S / 3)

    assert [bool(pulse > 0.9) for pulse in table.pulses] == [False, False, True, False, False, True, False, False]


def test_harmony_changes_where_the_notes_do() -> None:
    evidence = onset_evidence(even_beats(120, 16))
    chroma = np.zeros_like(evidence.chroma)
    chroma[evidence.harmony_s < 4.5, 0] = 1.0
    chroma[evidence.harmony_s >= 4.5, 6] = 1.0

    table = beat_table(prepare(dataclasses.replace(evidence, chroma=chroma)), PERIOD_S, 0.5)

    assert table is not None
    assert np.argmax(table.harmony_change[:, 0]) == 8
    assert table.harmony_change[2, 0] == pytest.approx(0)
    assert table.chroma[3] == pytest.approx(np.eye(12)[0])


def test_less_than_five_beats_are_no_table() -> None:
    assert beat_table(prepare(onset_evidence([0.5, 1.0, 1.5])), PERIOD_S, 0.5) is None
