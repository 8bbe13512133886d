"""Evidence for the level and for which pulse is the beat: how onsets, strength and harmony lie within the beat."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.bars.beat_table import PULSES, BeatTable
from analysis.core.samples import Doubles

# Where the weight of a tempo may bend, about a sixth apart (house choice).
_TEMPO_KNOTS_BPM = (35.0, 48.0, 60.0, 72.0, 86.0, 100.0, 116.0, 132.0, 150.0, 172.0, 196.0, 240.0, 300.0)
# What keeps the logarithm of a share, of a level and of a count from minus infinity (house choices).
_LEAST_SHARE, _LEAST_LEVEL, _LEAST_COUNT = 0.02, 0.05, 0.1
_BANDS = ("low", "middle", "high")
_ONSETS = (
    "on_beat",
    "half",
    "quarters",
    "thirds",
    "swung",
    "sixths",
    "on_over_half",
    "on_cover",
    "half_cover",
    "density",
)
_STRENGTHS = ("on_beat", "half", "on_over_half", "quarters")
_TEMPO_COLUMNS = tuple(f"tempo.{bpm:g}_bpm" for bpm in _TEMPO_KNOTS_BPM)
_FIT_COLUMNS = ("fit.straight", "fit.thirds", "fit.better", *(f"pulses.{count}" for count in range(1, PULSES + 1)))
# The columns of `beat_evidence`, in order.
BEAT_COLUMNS = (
    *(f"{voice}.{name}" for voice in ("attacks", "bass") for name in _ONSETS),
    *(f"strength.{name}.{band}" for name in _STRENGTHS for band in _BANDS),
    *(f"change.{voice}.{name}" for voice in ("harmony", "bass") for name in ("on_beat", "on_over_half")),
    *_TEMPO_COLUMNS,
    *_FIT_COLUMNS,
)
# The columns of `beat_evidence` that mean something else in another meter.
_OTHERWISE_BY_METER = (
    *(f"attacks.{name}" for name in ("half", "quarters", "thirds", "on_cover", "half_cover", "density")),
    *(f"strength.half.{band}" for band in _BANDS),
    *(f"bass.{name}" for name in ("half", "thirds", "density")),
)
# The columns that `meter_evidence` repeats for each meter but the first, besides the repetition's own.
DIFFERING_COLUMNS = (*_OTHERWISE_BY_METER, "tempo.place", "tempo.place_squared", *_FIT_COLUMNS)
_OTHERWISE, _TEMPO, _FITS = (
    [BEAT_COLUMNS.index(name) for name in names] for names in (_OTHERWISE_BY_METER, _TEMPO_COLUMNS, _FIT_COLUMNS)
)


def hats(value: float, knots: Sequence[float]) -> Doubles:
    """Where the value lies between the knots, on a logarithmic scale.

    Returns
    -------
    float64 array, shape (n_knots,)
        Weights that add up to 1: of the two knots around the value, or all on the nearest beyond the ends.
    """
    place = np.interp(np.log(value), np.log(knots), np.arange(len(knots)))
    shares: Doubles = np.clip(1 - np.abs(place - np.arange(len(knots))), 0, 1)
    return shares


def beat_evidence(table: BeatTable) -> Doubles:
    """How what happens lies within the beat, and how fast that is.

    Returns
    -------
    float64 array, shape (len(BEAT_COLUMNS),)
        One number for each name in `BEAT_COLUMNS`.
    """
    rows: list[float] = []
    for onsets in (table.onsets, table.bass_onsets):
        rows += _onset_numbers(onsets)
    rows += _strength_numbers(table.strength)
    for change in (table.harmony_change, table.bass_change):
        mean = change.mean(axis=0)
        spread = change.std() + 1e-3
        rows += [(mean[0] - mean.mean()) / spread, (mean[0] - mean[6]) / spread]
    straight, thirds = table.on_straight, table.on_thirds
    fits = [straight, thirds, max(straight, thirds)]
    return np.concatenate([rows, hats(60 / table.period_s, _TEMPO_KNOTS_BPM), fits, table.pulses])


def _onset_numbers(onsets: Doubles) -> list[float]:
    """As named in `_ONSETS`; `onsets` is (beats, 12)."""
    share = onsets.sum(axis=0) / max(onsets.sum(), 1e-9)
    pairs = ((3, 9), (4, 8), (7, 8), (2, 10))
    return [
        share[0],
        share[6],
        *(share[one] + share[two] for one, two in pairs),
        float(np.log(share[0] + _LEAST_SHARE) - np.log(share[6] + _LEAST_SHARE)),
        float((onsets[:, 0] > 0).mean()),
        float((onsets[:, 6] > 0).mean()),
        float(np.log(_LEAST_COUNT + (onsets > 0).sum(axis=1).mean())),
    ]


def _strength_numbers(strength: Doubles) -> list[float]:
    """As named in `_STRENGTHS`, three bands each; `strength` is (beats, 12, bands)."""
    level = strength.mean(axis=0)
    level = np.stack([level[:, :2].sum(1), level[:, 2:4].sum(1), level[:, 4:].sum(1)], axis=1)
    log = np.log((level + _LEAST_LEVEL) / (level.mean(axis=0) + _LEAST_LEVEL))
    return [*log[0], *log[6], *(log[0] - log[6]), *(log[3] + log[9])]


def meter_evidence(kind: int, kinds: int, shared: Doubles, repeats: Doubles) -> Doubles:
    """Which meter it is, and the numbers that weigh differently in it than in 4/4: thirds in 6/8, tempo in each, ...

    Parameters
    ----------
    kind, kinds : int
        Which meter, and of how many.
    shared : float64 array, shape (len(BEAT_COLUMNS) or more,)
        As `beat_evidence` gives it; what follows is not used.
    repeats : float64 array, shape (n_repeats,)
        As `repeats_of` gives it.

    Returns
    -------
    float64 array, shape (kinds + (kinds - 1) * (len(DIFFERING_COLUMNS) + n_repeats),)
    """
    tempo_hats = shared[_TEMPO]
    tempo = float(tempo_hats @ np.arange(len(tempo_hats)))
    differing = np.concatenate([shared[_OTHERWISE], [tempo, tempo**2 / 12], shared[_FITS], repeats])
    parts = by_meter(kind, kinds, differing)
    return np.concatenate([(np.arange(kinds) == kind).astype(float), parts])


def by_meter(kind: int, kinds: int, numbers: Doubles) -> Doubles:
    """Numbers that weigh differently in every meter but the first, which the plain columns speak for.

    Parameters
    ----------
    kind, kinds : int
        Which meter, and of how many.
    numbers : float64 array, shape (n,)

    Returns
    -------
    float64 array, shape ((kinds - 1) * n,)
        The numbers in the place of their meter, 0 in all others; all 0 for the first meter.
    """
    parts = np.zeros((kinds, len(numbers)))
    parts[kind] = numbers
    return parts[1:].ravel()
