"""Readings of a song: beat period, which pulse is the beat, meter and bar phase, each with its evidence as numbers.

Level, on-beat, meter and bar phase are decided together, because each explains the others: a wrong level has no bar at
which the harmony changes. A reading's evidence is one row of numbers; `weighing` weighs the rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.bars.bar_evidence import (
    CONTRAST_COLUMNS,
    END_COLUMNS,
    GROUP_COLUMNS,
    REPEAT_COLUMNS,
    WITHIN_COLUMNS,
    Repeats,
    bar_contrast,
    bar_signals,
    end_evidence,
    group_contrast,
    repeats_of,
    within_bars,
)
from analysis.bars.beat_evidence import (
    BEAT_COLUMNS,
    DIFFERING_COLUMNS,
    beat_evidence,
    by_meter,
    hats,
    meter_evidence,
)
from analysis.bars.beat_table import BeatTable, Prepared, beat_table
from analysis.bars.six_eighths import EIGHTH_COLUMNS, eighth_evidence
from analysis.core.samples import Doubles
from analysis.tempo.grid import GridFit

# So many places within the beat are tried as the beat, if they hold this share of the fit (house choices).
_MAX_PLACES = 5
_LEAST_SHARE = 0.04
# Where the weight of a bar's length may bend (house choice).
_BAR_KNOTS_S = (0.8, 1.2, 1.7, 2.4, 3.4, 5.0)


@dataclass(frozen=True)
class MeterKind:
    """A meter that may be found: beats felt in a bar, and the range in which its beat is felt."""

    sign: str
    beats: int
    slowest_bpm: float
    fastest_bpm: float


# The ranges are house choices: wider than music in these meters is felt.
METER_KINDS = (
    MeterKind("4/4", 4, 40, 250),
    MeterKind("3/4", 3, 50, 250),
    MeterKind("6/8", 2, 30, 100),
    MeterKind("5/4", 5, 80, 220),
    MeterKind("7/8", 7, 150, 310),
)
# What each number of a reading's evidence is called, in order. Numbers that weigh differently by meter come again for
# each meter but the first, under its sign.
COLUMNS = (
    *BEAT_COLUMNS,
    "grid.place_share",
    "grid.explained",
    *CONTRAST_COLUMNS,
    *WITHIN_COLUMNS,
    *REPEAT_COLUMNS,
    *(f"length.{seconds:g}_s" for seconds in _BAR_KNOTS_S),
    *END_COLUMNS,
    *GROUP_COLUMNS,
    *(f"meter.{meter.sign}" for meter in METER_KINDS),
    *(f"{meter.sign} {name}" for meter in METER_KINDS[1:] for name in (*DIFFERING_COLUMNS, *REPEAT_COLUMNS)),
    *(f"{meter.sign} {name}" for meter in METER_KINDS[1:] for name in WITHIN_COLUMNS),
    *EIGHTH_COLUMNS,
)


@dataclass(frozen=True)
class Reading:
    """One way to read the song. `beat_s`: the first beat of the table; `bar_s`: the first downbeat at or after it."""

    fit: int
    period_s: float
    beat_s: float
    meter: MeterKind
    bar_s: float

    @property
    def bpm(self) -> float:
        return 60 / self.period_s


def readings_of(prepared: Prepared, fits: Sequence[GridFit]) -> tuple[list[Reading], Doubles]:
    """All readings over the fitted grids and their evidence.

    Returns
    -------
    readings : list of Reading
    rows : float64 array, shape (len(readings), len(COLUMNS))
        One row a reading; shape (0,) without readings.
    """
    readings: list[Reading] = []
    rows: list[Doubles] = []
    best_explained = max((fit.explained for fit in fits), default=1.0)
    for index, fit in enumerate(fits):
        for place in fit.places[:_MAX_PLACES]:
            if place.share < _LEAST_SHARE * fit.explained:
                continue
            table = beat_table(prepared, fit.period_s, place.offset_s)
            if table is None:
                continue
            shared = np.concatenate([beat_evidence(table), [place.share, fit.explained / best_explained]])
            for meter, bar, evidence in bars_of(prepared, table, shared):
                readings.append(Reading(index, fit.period_s, float(table.beat_s[0]), meter, float(table.beat_s[bar])))
                rows.append(np.concatenate([shared, evidence]))
    return readings, np.array(rows)


def bars_of(prepared: Prepared, table: BeatTable, shared: Doubles) -> Iterator[tuple[MeterKind, int, Doubles]]:
    """Every meter and beat that may begin its bar, with the evidence that goes after what they share.

    Parameters
    ----------
    prepared : Prepared
    table : BeatTable
        The beats on which bars are tried.
    shared : float64 array, shape (len(BEAT_COLUMNS) + 2,)
        The evidence that is the same for all of them.

    Yields
    ------
    meter : MeterKind
    bar : int
        The beat of the table on which the first whole bar begins.
    evidence : float64 array, shape (len(COLUMNS) - len(shared),)
    """
    signals, repeats = bar_signals(table), Repeats.of(table)
    for kind, meter in enumerate(METER_KINDS):
        if not meter.slowest_bpm <= 60 / table.period_s <= meter.fastest_bpm or len(table.beat_s) < 2 * meter.beats:
            continue
        means = np.stack([signals[:, bar :: meter.beats].mean(axis=1) for bar in range(meter.beats)])
        again = repeats_of(repeats, meter.beats)
        within = within_bars(table, meter.beats)
        length = hats(meter.beats * table.period_s, _BAR_KNOTS_S)
        kinds = meter_evidence(kind, len(METER_KINDS), shared, again)
        eighths = eighth_evidence(table, signals, meter.sign, meter.beats)
        for bar in range(meter.beats):
            ends = end_evidence(prepared, table, meter.beats, bar)
            bars = [bar_contrast(means, bar), within[bar], again, length, ends, group_contrast(means, bar)]
            even = by_meter(kind, len(METER_KINDS), within[bar])
            yield meter, bar, np.concatenate([*bars, kinds, even, eighths[bar]])
