"""Where exactly the beat lies once its period is known: the middle of the onsets that belong to it."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence

# Onsets this near the beat or its half belong to it (house choice).
_REACH_S = 0.04
# The rise of the energy is strongest a little after a sound's start; measured on notes with known starts.
_SEEN_LATE_S = 0.0025
# Twelve slots hold halves, thirds and quarters of the beat.
_SLOTS = 12


def refine_phase(evidence: Evidence, period_s: float, beat_s: float, *, reach_s: float = _REACH_S) -> float:
    """The time of one beat, refined with the period unchanged: the beat and its half count.

    Parameters
    ----------
    evidence : Evidence
    period_s : float
        Beat period.
    beat_s : float
        The time of a beat, to be refined.
    reach_s : float
        Onsets further from the beat or its half are left out; never more than a tenth of a beat.

    Returns
    -------
    float
        Seconds. `beat_s` itself when fewer than four onsets are near.
    """
    apart = (evidence.onset_s - beat_s) / period_s
    slot_s = period_s / _SLOTS
    slot = np.rint(apart * _SLOTS)
    residual = (apart * _SLOTS - slot) * slot_s
    on_beat = (slot % _SLOTS == 0) | (slot % _SLOTS == 6)
    near = on_beat & (np.abs(residual) < min(reach_s, 0.1 * period_s))
    if near.sum() < 4:
        return beat_s
    weights = np.sqrt(evidence.onset_weight[near]) * evidence.onset_sharpness[near]
    return beat_s + weighted_median(residual[near], weights) - _SEEN_LATE_S


def weighted_median(values: Doubles, weights: Doubles) -> float:
    """The value at which half of the weight is reached.

    Parameters
    ----------
    values, weights : float64 arrays, shape (n,)
        At least one value; weights of 0 or more.
    """
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])
