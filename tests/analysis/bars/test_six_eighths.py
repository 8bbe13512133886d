"""Bars of six eighths told apart by which of them are struck, and by every other bar's beginning."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.bar_evidence import SIGNALS
from analysis.bars.beat_table import BeatTable, beat_table, prepare
from analysis.bars.six_eighths import EIGHTH_COLUMNS, eighth_evidence, every_other, groups_of_eighths
from tests.analysis.onsets import onset_evidence

EIGHTH_S, BARS = 0.25, 24
# Beats of a bar in each meter, and the eighths in one.
METERS = {"3/4": (3, 2), "6/8": (2, 3)}


def table_of(sign: str, bass_on: tuple[int, ...], *, played: tuple[int, ...] = (0, 1, 2, 3, 4, 5)) -> BeatTable:
    """Bars of six eighths read in a meter: a note on each eighth that is played, and a bass note on some."""
    notes = [(0.5 + (6 * bar + eighth) * EIGHTH_S, False) for bar in range(BARS) for eighth in played]
    notes += [(0.5 + (6 * bar + eighth) * EIGHTH_S, True) for bar in range(BARS) for eighth in bass_on]
    times, is_bass = zip(*sorted(notes), strict=True)
    table = beat_table(prepare(onset_evidence(times, bass=is_bass)), METERS[sign][1] * EIGHTH_S, 0.5)
    assert table is not None
    return table


def numbers_of(table: BeatTable, sign: str) -> dict[str, float]:
    """Those of a bar that begins on the table's first beat, by name without the meter."""
    names = [name.split("eighths.")[1] for name in EIGHTH_COLUMNS if name.startswith(sign)]
    return dict(zip(names, groups_of_eighths(table, sign)[0], strict=False))


@pytest.mark.parametrize("sign", METERS)
def test_the_bass_divides_six_eighths_in_two_or_in_three(sign: str) -> None:
    in_two, in_three = numbers_of(table_of(sign, (0, 3)), sign), numbers_of(table_of(sign, (0, 2, 4)), sign)

    # The fourth less the mean of those between, and the third and fifth less the even ones, re the mean of all six.
    assert (in_two["in_two.bass"], in_two["in_three.bass"]) == pytest.approx((3, -1), abs=0.2)
    assert (in_three["in_two.bass"], in_three["in_three.bass"]) == pytest.approx((-1, 2), abs=0.2)
    # All eighths are played alike.
    assert (in_two["in_two.attacks"], in_two["in_three.attacks"]) == pytest.approx((0, 0), abs=0.1)


@pytest.mark.parametrize(
    ("sign", "played", "every", "second"),
    [("6/8", range(6), 1, 1), ("6/8", (0, 2, 3, 5), 0, 0), ("6/8", (0, 1, 3, 4), 0, 1), ("3/4", (0, 2, 4), 0, 0)],
)
def test_eighths_between_the_beats_are_struck_or_not(
    sign: str, played: tuple[int, ...], every: float, second: float
) -> None:
    found = numbers_of(table_of(sign, (0,), played=played), sign)

    assert (found["all_struck"], found["second_struck"]) == pytest.approx((every, second), abs=0.03)


def test_bars_that_begin_by_turns_in_two_ways_are_halves() -> None:
    signals = np.zeros((len(SIGNALS), 48))
    signals[SIGNALS.index("bass_change"), ::6] = 1.0

    short, long = every_other(signals, 3, 0.75), every_other(signals, 3, 1.6)

    by_name = dict(zip(EIGHTH_COLUMNS[-short.shape[1] :], short[0], strict=True))
    assert by_name["6/8 eighths.every_other.bass_change"] == 1.0
    assert by_name["6/8 eighths.every_other.attacks"] == 0.0
    # Half as long as a bar of three usually is, all of it counts as that of short bars; else nothing.
    assert (short[0, -1], long[0, -1]) == (1.0, 0.0)
    # Begun one beat later, or read in bars of six beats, all bars are alike.
    assert not short[1].any()
    assert not every_other(signals, 6, 1.5).any()


def test_each_meter_has_its_own_columns_and_others_have_none() -> None:
    table, signals = table_of("6/8", (0, 3)), np.zeros((len(SIGNALS), 2 * BARS + 2))

    rows = eighth_evidence(table, signals, "6/8", 2)

    assert rows.shape == (2, len(EIGHTH_COLUMNS))
    named = dict(zip(EIGHTH_COLUMNS, rows[0], strict=True))
    assert named["6/8 eighths.all_struck"] > 0
    assert not any(value for name, value in named.items() if name.startswith("3/4"))
    assert not eighth_evidence(table, signals, "4/4", 4).any()
