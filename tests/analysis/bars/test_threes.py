"""The second look at 3/4 and 6/8: it shares out what they have together, and touches nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.ranking import rank_readings
from analysis.bars.readings import COLUMNS
from analysis.bars.statements import Statements
from analysis.bars.threes import THREE_COLUMNS, ThreeWeights, is_three, three_weights
from analysis.core.samples import Doubles
from analysis.tempo.evidence import pool
from tests.analysis.playing import LOOP, features_of, placed, pluck

SIGNS = ("4/4", "3/4", "6/8", "7/8")
PROBABILITY = np.array([0.4, 0.3, 0.2, 0.1])


def rows_of(**numbers: float) -> Doubles:
    """One reading in each meter; numbers are those of its row in 6/8, by name."""
    rows = np.zeros((len(SIGNS), len(COLUMNS)))
    for row, sign in enumerate(SIGNS):
        rows[row, COLUMNS.index(f"meter.{sign}")] = 1.0
    for name, value in numbers.items():
        rows[SIGNS.index("6/8"), COLUMNS.index(f"6/8 eighths.{name}")] = value
    return rows


def weights_of(**by_name: float) -> ThreeWeights:
    weight = np.zeros(len(THREE_COLUMNS))
    for name, value in by_name.items():
        weight[THREE_COLUMNS.index(f"6/8 eighths.{name}")] = value
    return ThreeWeights(np.ones(len(THREE_COLUMNS)), weight)


def test_what_speaks_for_six_takes_from_three_and_from_nobody_else() -> None:
    found = weights_of(all_struck=1.0).second_look(rows_of(all_struck=np.log(3.0)), PROBABILITY)

    # The odds of 6/8 re 3/4 were 2 to 3; three times as good they are 2 to 1.
    assert found == pytest.approx([0.4, 0.5 / 3, 1.0 / 3, 0.1])


def test_without_evidence_nothing_changes() -> None:
    assert weights_of().second_look(rows_of(), PROBABILITY) == pytest.approx(PROBABILITY)


def test_one_wild_number_counts_for_five_scales() -> None:
    weights = weights_of(all_struck=1.0)

    assert weights.second_look(rows_of(all_struck=1e9), PROBABILITY) == pytest.approx(
        weights.second_look(rows_of(all_struck=5.0), PROBABILITY)
    )


def test_songs_that_are_in_neither_are_left_as_they_are() -> None:
    rows = rows_of()[[0, 3]]

    assert not is_three(rows).any()
    assert three_weights().second_look(rows, PROBABILITY[:2]) is not None
    assert list(three_weights().second_look(rows, PROBABILITY[:2])) == [0.4, 0.3]


@pytest.mark.parametrize(("strong", "sign"), [((0, 3), "6/8"), ((0, 2, 4), "3/4")])
def test_a_band_that_strikes_all_eighths_is_told_by_its_chords(strong: tuple[int, ...], sign: str) -> None:
    """Light notes on all six eighths; bass and chord on two of them, or on three."""
    rng = np.random.default_rng(3)
    notes = []
    for bar in range(28):
        root = LOOP[bar % len(LOOP)]
        for eighth in range(6):
            at_s = 0.7 + (6 * bar + eighth) * 0.29 + rng.normal(0, 0.004)
            notes.append((at_s, pluck(root + 36, seconds=0.2, level=0.05)))
            if eighth in strong:
                notes += [(at_s, pluck(root + tone, level=0.12)) for tone in (24, 28, 31)]
                notes.append((at_s, pluck(root if eighth == 0 else root + 7, level=0.3 if eighth == 0 else 0.2)))
    music = pool([features_of(placed(notes, 0.7 + 28 * 6 * 0.29 + 1))])
    assert music is not None

    ranking = rank_readings(music, Statements())

    assert ranking is not None
    assert ranking.best.meter.sign == sign
    assert ranking.best.period_s * ranking.best.meter.beats == pytest.approx(6 * 0.29, rel=0.001)
