"""Evidence for the level and for which pulse is the beat: how onsets, strength and harmony lie within the beat."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.bars.beat_table import PULSES, BeatTable
from analysis.core.samples import Doubles

_TEMPO_KNOTS_BPM = (35.0, 48.0, 60.0, 72.0, 86.0, 100.0, 116.0, 132.0, 150.0, 172.0, 196.0, 240.0, 300.0)
# Places in the row of `beat_evidence`, for the numbers that mean something else in another meter.
_HALF, _QUARTERS, _THIRDS, _ON_COVER, _HALF_COVER, _DENSITY = 1, 2, 3, 7, 8, 9
_BASS_HALF, _BASS_THIRDS, _BASS_DENSITY = 11, 13, 19
_HALF_STRENGTH = (23, 24, 25)
_FIRST_HAT = 36
_FIRST_FIT = _FIRST_HAT + len(_TEMPO_KNOTS_BPM)
_FITS = slice(_FIRST_FIT, _FIRST_FIT + 3 + PULSES)


def hats(value: float, knots: Sequence[float]) -> Doubles:
    """Where the value lies between the knots, as weights that add up to 1 (on a logarithmic scale)."""
    place = np.interp(np.log(value), np.log(knots), np.arange(len(knots)))
    shares: Doubles = np.clip(1 - np.abs(place - np.arange(len(knots))), 0, 1)
    return shares


def beat_evidence(table: BeatTable) -> Doubles:
    """One row: 10 numbers on attacks, 10 on bass notes, 12 on band strength, 4 on harmony, 13 on tempo, 11 on fit."""
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
    straight, thirds = table.on_straight, table.on_thirds
    fits = [straight, thirds, max(straight, thirds)]
    return np.concatenate([rows, hats(60 / table.period_s, _TEMPO_KNOTS_BPM), fits, table.pulses])


def meter_evidence(kind: int, kinds: int, shared: Doubles, repeats: Doubles) -> Doubles:
    """Which meter it is, and the numbers that weigh differently in it than in 4/4: thirds in 6/8, tempo in each, ..."""
    tempo_hats = shared[_FIRST_HAT:_FIRST_FIT]
    tempo = float(tempo_hats @ np.arange(len(tempo_hats)))
    within = shared[[_HALF, _QUARTERS, _THIRDS, _ON_COVER, _HALF_COVER, _DENSITY, *_HALF_STRENGTH]]
    bass = shared[[_BASS_HALF, _BASS_THIRDS, _BASS_DENSITY]]
    differing = np.concatenate([within, bass, [tempo, tempo**2 / 12], shared[_FITS], repeats])
    parts = by_meter(kind, kinds, differing)
    return np.concatenate([(np.arange(kinds) == kind).astype(float), parts])


def by_meter(kind: int, kinds: int, numbers: Doubles) -> Doubles:
    """Numbers that weigh differently in every meter but the first, which the plain columns speak for."""
    parts = np.zeros((kinds, len(numbers)))
    parts[kind] = numbers
    return parts[1:].ravel()
