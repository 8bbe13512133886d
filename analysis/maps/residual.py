"""How far the playing lies from a tempo map, over the song: what the eye needs to judge a map by.

What is played in a free passage is left out: there is nothing that it could be late against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap

# Attacks are held against the half beats: nearer ones hide a drift, farther ones leave the off-beats out (house
# choice).
_PARTS = 2


@dataclass(frozen=True)
class PooledAttacks:
    """The attacks of a song's music, of all its files together: times in s, and a weight for each; same shape."""

    time_s: Doubles
    weight: Doubles


@dataclass(frozen=True)
class Residual:
    """Attacks at `time_s` and how late each is, in ms, against the nearest half beat of the map (early: negative).

    All three have shape (n,); `weight` is the attack's strength.
    """

    time_s: Doubles
    late_ms: Doubles
    weight: Doubles


@dataclass(frozen=True)
class Lean:
    """The attacks of one stretch: their weighted median against the map and how they spread around it (scaled median
    absolute deviation), both in ms; None where there are too few."""

    late_ms: float | None
    spread_ms: float | None
    count: int


# From how many attacks on a stretch has a median worth showing (house choice).
_FEWEST = 4
# Of a bar, which is judged beside its neighbours, one attack tells something (house choice).
_FEWEST_IN_BAR = 1
# A half beat worked out from an attack's place and lateness is on its bar line to this (rounding; house choice).
_SAME_S = 1e-6
# The median absolute deviation of a normal distribution is this share of its standard deviation (arithmetic).
_MAD_SHARE = 0.6745


def residual_of(tempo_map: TempoMap, onset_s: Doubles, weight: Doubles) -> Residual:
    """Hold attacks against the map's half beats.

    Parameters
    ----------
    tempo_map : TempoMap
    onset_s : float64 array, shape (n,)
        Seconds from the start of the files.
    weight : float64 array, shape (n,)
        Strength of each attack.

    Returns
    -------
    Residual
        In the order of `onset_s`, without those in free passages.
    """
    held = in_time(onset_s, tempo_map)
    onset_s, weight = onset_s[held], weight[held]
    starts = np.array([float(one.time_s) for one in tempo_map.segments])
    beat_s = np.array([float(one.beat_s) for one in tempo_map.segments])
    own = np.maximum(np.searchsorted(starts, onset_s, side="right") - 1, 0)
    half_beats = (onset_s - starts[own]) / beat_s[own] * _PARTS
    late_ms = (half_beats - np.rint(half_beats)) * beat_s[own] / _PARTS * 1000
    return Residual(onset_s, late_ms, weight)


def lean_between(residual: Residual, start_s: float, end_s: float) -> Lean:
    return _lean_of(residual, (residual.time_s >= start_s) & (residual.time_s < end_s))


def _lean_of(residual: Residual, inside: Flags, *, fewest: int = _FEWEST) -> Lean:
    late, weight = residual.late_ms[inside], residual.weight[inside]
    if len(late) < fewest:
        return Lean(None, None, len(late))
    middle = weighted_middle(late, weight)
    return Lean(middle, weighted_middle(np.abs(late - middle), weight) / _MAD_SHARE, len(late))


def weighted_middle(values: Doubles, weight: Doubles) -> float:
    """The lower weighted median.

    Parameters
    ----------
    values, weight : float64 array, shape (n,)
        At least one value; weights are positive.

    Returns
    -------
    float
        One of `values`.
    """
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def leans_by_anchor(residual: Residual, starts_s: Sequence[float], end_s: float) -> list[Lean]:
    ends = [*starts_s[1:], end_s]
    return [lean_between(residual, start, end) for start, end in zip(starts_s, ends, strict=True)]


def leans_by_bar(residual: Residual, tempo_map: TempoMap, bars: Sequence[int]) -> list[Lean]:
    """One for each of `bars`, which follow each other. An attack belongs to the bar of the half beat that it is held
    against: a little ahead of a bar line it is early in that bar. A free bar has none."""
    if not bars:
        return []
    held_s = residual.time_s - residual.late_ms / 1000
    ends_s = [float(tempo_map.time_of_bar(bar)) - _SAME_S for bar in (*bars, bars[-1] + 1)]
    own = np.searchsorted(ends_s, held_s, side="right") - 1
    free = Lean(None, None, 0)
    return [
        free if tempo_map.is_free_bar(bar) else _lean_of(residual, own == at, fewest=_FEWEST_IN_BAR)
        for at, bar in enumerate(bars)
    ]
