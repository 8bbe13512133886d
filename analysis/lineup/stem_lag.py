"""How far a file lies off the song's grid: the phase of its attacks on the beat's halves, thirds or quarters.

A stem that starts late plays a shifted pattern: its attacks agree with each other, and not with the grid. Only the part
of the shift that is no whole subdivision can be seen, so what is reported is the least shift that explains it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles
from analysis.features.attacks import Attacks
from analysis.tempo.phase import weighted_median

# House choices. Parts of the beat that attacks may lie on; what quarters cost, since they fold more and look more
# coherent by chance; the fewest attacks that say anything; how near a beat or its half an attack must be.
_DIVISIONS = (2, 3, 4)
_FINER_COSTS = 0.03
_LEAST_ATTACKS = 8
_REACH_S = 0.07


@dataclass(frozen=True)
class Lag:
    """Seconds after the grid, how well the attacks agree on it (0 to 1), and the spacing that it is folded to."""

    seconds: float
    coherence: float
    spacing_s: float


def lag_on_grid(attacks: Attacks, beats_s: Doubles) -> Lag | None:
    """The lag of a file's attacks behind the song's beats.

    Parameters
    ----------
    attacks : Attacks
        Of one file; bass notes are left out.
    beats_s : float64 array, shape (n_beats,)
        Seconds, rising.

    Returns
    -------
    Lag or None
        None when there are too few attacks within the beats.
    """
    return coherent_lag(attacks.times_s[~attacks.is_bass], attacks.weight[~attacks.is_bass], beats_s)


def coherent_lag(times_s: Doubles, weights: Doubles, beats_s: Doubles) -> Lag | None:
    """The lag at which onsets gather best on the beats' halves, thirds or quarters.

    Parameters
    ----------
    times_s, weights : float64 array, shape (n_onsets,)
        Seconds, and weights of 0 or more.
    beats_s : float64 array, shape (n_beats,)
        Seconds, rising.

    Returns
    -------
    Lag or None
        None when fewer than eight onsets lie within the beats.
    """
    inside = (times_s > beats_s[0]) & (times_s < beats_s[-1]) if len(beats_s) > 1 else np.zeros(len(times_s), bool)
    if inside.sum() < _LEAST_ATTACKS or weights[inside].sum() <= 0:
        return None
    beats = np.interp(times_s[inside], beats_s, np.arange(len(beats_s)))
    period_s = float(np.median(np.diff(beats_s)))
    lags = [_lag(beats, weights[inside], division, period_s) for division in _DIVISIONS]
    costs = (0.0, 0.0, _FINER_COSTS)
    return max(zip(lags, costs, strict=True), key=lambda pair: pair[0].coherence - pair[1])[0]


def median_lag_s(onset_s: Doubles, weights: Doubles, beats_s: Doubles) -> float | None:
    """How far the band as a whole lies behind the beats: the middle of the attacks near a beat or its half.

    Parameters
    ----------
    onset_s, weights : float64 array, shape (n_onsets,)
        Seconds, and weights of 0 or more.
    beats_s : float64 array, shape (n_beats,)
        Seconds, rising.

    Returns
    -------
    float or None
        Seconds, late is positive. None when fewer than eight onsets are near.
    """
    inside = (onset_s > beats_s[0]) & (onset_s < beats_s[-1]) if len(beats_s) > 1 else np.zeros(len(onset_s), bool)
    if inside.sum() < _LEAST_ATTACKS:
        return None
    halves = 2 * np.interp(onset_s[inside], beats_s, np.arange(len(beats_s)))
    late_s = (halves - np.rint(halves)) / 2 * float(np.median(np.diff(beats_s)))
    near = np.abs(late_s) < _REACH_S
    if near.sum() < _LEAST_ATTACKS:
        return None
    return weighted_median(late_s[near], weights[inside][near])


def _lag(beats: Doubles, weights: Doubles, division: int, period_s: float) -> Lag:
    vector = (weights * np.exp(2j * np.pi * division * beats)).sum() / weights.sum()
    turn = float(np.angle(vector)) / (2 * np.pi)
    return Lag(turn / division * period_s, float(np.abs(vector)), period_s / division)
