"""Readings of a song: beat period, which pulse is the beat, meter and bar phase, each with its evidence as numbers.

Level, on-beat, meter and bar phase are decided together, because each explains the others: a wrong level has no bar at
which the harmony changes. A reading's evidence is one row of numbers; `choice` weighs the rows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.beat_table import SLOTS, BeatTable, Prepared, beat_table
from analysis.grid import GridFit

Doubles = NDArray[Any]
MAX_PLACES = 5
LEAST_SHARE = 0.04


@dataclass(frozen=True)
class MeterKind:
    """A meter that may be found: beats felt in a bar, and the range in which its beat is felt."""

    sign: str
    beats: int
    slowest_bpm: float
    fastest_bpm: float


METER_KINDS = (
    MeterKind("4/4", 4, 40, 250),
    MeterKind("3/4", 3, 50, 250),
    MeterKind("6/8", 2, 30, 100),
    MeterKind("5/4", 5, 80, 220),
    MeterKind("7/8", 7, 150, 310),
)
TEMPO_KNOTS_BPM = (35.0, 48.0, 60.0, 72.0, 86.0, 100.0, 116.0, 132.0, 150.0, 172.0, 196.0, 240.0, 300.0)


@dataclass(frozen=True)
class Reading:
    """One way to hear the song. `bar_s` is the time of the first downbeat at or after the first beat of the table."""

    fit: int
    period_s: float
    beat_s: float
    meter: MeterKind
    bar_s: float

    @property
    def bpm(self) -> float:
        return 60 / self.period_s


def readings_of(prepared: Prepared, fits: Sequence[GridFit]) -> tuple[list[Reading], Doubles]:
    """All readings over the fitted grids and their evidence, one row each."""
    readings: list[Reading] = []
    rows: list[Doubles] = []
    best_explained = max((fit.explained for fit in fits), default=1.0)
    for index, fit in enumerate(fits):
        for place in fit.places[:MAX_PLACES]:
            if place.share < LEAST_SHARE * fit.explained:
                continue
            table = beat_table(prepared, fit.period_s, place.offset_s)
            if table is None:
                continue
            shared = np.concatenate([beat_evidence(table), [place.share, fit.explained / best_explained]])
            for meter, bar, evidence in _bars_of(prepared, table):
                readings.append(Reading(index, fit.period_s, float(table.beat_s[0]), meter, float(table.beat_s[bar])))
                rows.append(np.concatenate([shared, evidence]))
    return readings, np.array(rows)


def _bars_of(prepared: Prepared, table: BeatTable) -> Iterator[tuple[MeterKind, int, Doubles]]:
    signals = bar_signals(table)
    for kind, meter in enumerate(METER_KINDS):
        if not meter.slowest_bpm <= 60 / table.period_s <= meter.fastest_bpm or len(table.beat_s) < 2 * meter.beats:
            continue
        repeats = repeat_evidence(table, meter.beats)
        is_kind = np.arange(len(METER_KINDS)) == kind
        means = np.stack([signals[:, bar :: meter.beats].mean(axis=1) for bar in range(meter.beats)])
        for bar in range(meter.beats):
            contrast = bar_evidence(means, bar)
            ends = end_evidence(prepared, table, meter.beats, bar)
            yield meter, bar, np.concatenate([contrast, repeats, ends, is_kind])


def hats(value: float, knots: Sequence[float]) -> Doubles:
    """Where the value lies between the knots, as weights that add up to 1 (on a logarithmic scale)."""
    place = np.interp(np.log(value), np.log(knots), np.arange(len(knots)))
    shares: Doubles = np.clip(1 - np.abs(place - np.arange(len(knots))), 0, 1)
    return shares


def beat_evidence(table: BeatTable) -> Doubles:
    """Evidence for level and on-beat: how onsets, strength and harmony lie within the beat."""
    rows: list[float] = []
    for onsets in (table.onsets, table.bass_onsets):
        share = onsets.sum(axis=0) / max(onsets.sum(), 1e-9)
        rows += [
            share[0],
            share[6],
            share[3] + share[9],
            share[4] + share[8],
            share[7] + share[8],
            share[2] + share[10],
        ]
        rows += [float(np.log(share[0] + 0.02) - np.log(share[6] + 0.02))]
        rows += [float((onsets[:, 0] > 0).mean()), float((onsets[:, 6] > 0).mean())]
        rows += [float(np.log(0.1 + (onsets > 0).sum(axis=1).mean()))]
    level = table.strength.mean(axis=0)
    level = np.stack([level[:, :2].sum(1), level[:, 2:4].sum(1), level[:, 4:].sum(1)], axis=1)
    log = np.log((level + 0.05) / (level.mean(axis=0) + 0.05))
    rows += [*log[0], *log[6], *(log[0] - log[6]), *(log[3] + log[9])]
    for change in (table.harmony_change, table.bass_change):
        mean = change.mean(axis=0)
        spread = change.std() + 1e-3
        rows += [(mean[0] - mean.mean()) / spread, (mean[0] - mean[6]) / spread]
    return np.concatenate([rows, hats(60 / table.period_s, TEMPO_KNOTS_BPM)])


def bar_signals(table: BeatTable) -> Doubles:
    """What may mark a downbeat, by beat, each with mean 0 and spread 1: shape (signals, beats)."""
    strength = table.strength[:, 0]
    signals = np.stack(
        [
            table.harmony_change[:, 0],
            table.bass_change[:, 0],
            np.log1p(strength[:, :2].sum(1)),
            np.log1p(strength[:, 2:4].sum(1)),
            np.log1p(strength[:, 4:].sum(1)),
            table.onsets[:, 0],
            table.bass_onsets[:, 0],
            table.onsets[:, 6] - table.onsets[:, 0],
        ]
    )
    signals -= signals.mean(axis=1, keepdims=True)
    standard: Doubles = signals / (signals.std(axis=1, keepdims=True) + 1e-3)
    return standard


def bar_evidence(means: Doubles, bar: int) -> Doubles:
    """How beat `bar` stands out of the other beats of the bar; `means` is (beats of a bar, signals)."""
    beats = len(means)
    others = np.delete(means, bar, axis=0)
    stands_out = means[bar] - others.mean(axis=0)
    margin = means[bar] - others.max(axis=0)
    half = means[(bar + beats // 2) % beats] - means[bar - 1] if beats == 4 else np.zeros(means.shape[1])
    back = means[bar] + means[bar - 2] - means[bar - 1] - means[bar - 3] if beats == 4 else np.zeros(means.shape[1])
    return np.concatenate([stands_out, margin[:2], half[:3], back])


def repeat_evidence(table: BeatTable, beats: int) -> Doubles:
    """How well the song repeats after one, two and four bars, in rhythm and in harmony, re other distances."""
    rhythm = np.sqrt(table.onsets)
    harmony = table.chroma - table.chroma.mean(axis=0)
    rows = []
    for rows_by_beat in (rhythm, harmony):
        size = np.sqrt((rows_by_beat**2).sum(1, keepdims=True))
        pattern = rows_by_beat / np.maximum(size, 1e-9)
        likeness = [float((pattern[lag:] * pattern[:-lag]).sum(1).mean()) for lag in range(1, min(17, len(pattern)))]
        likeness += [0.0] * (16 - len(likeness))
        base = float(np.mean(likeness[:12]))
        rows += [likeness[beats - 1] - base, likeness[2 * beats - 1] - base if 2 * beats <= 16 else 0.0]
        rows += [likeness[beats - 1] - max(likeness[beats - 2], likeness[beats])]
    return np.array(rows)


def end_evidence(prepared: Prepared, table: BeatTable, beats: int, bar: int) -> Doubles:
    """Where the first and the last sound fall within the bar."""
    evidence = prepared.evidence
    downbeat_s = table.beat_s[bar]
    first = (evidence.first_sound_s - downbeat_s) / table.period_s % beats
    last = (evidence.onset_s[-1] - downbeat_s) / table.period_s % beats
    before = beats - first
    near = min(first, before) < 0.15
    return np.array(
        [
            float(near),
            float(not near and before <= 1.1),
            float(not near and 1.1 < before <= 2.1),
            float(not near and first <= 0.6),
            float(min(last, beats - last) < 0.15),
            last / beats,
        ]
    )


__all__ = ["METER_KINDS", "SLOTS", "MeterKind", "Reading", "readings_of"]
