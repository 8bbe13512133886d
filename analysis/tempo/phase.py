"""Where exactly the beat lies once its period is settled: the middle of the onsets that belong to it."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence

_REACH_S = 0.04
# The rise of the energy is strongest a little after a sound's start; measured on notes with known starts.
_SEEN_LATE_S = 0.0025
_SLOTS = 12


def refine_phase(evidence: Evidence, period_s: float, beat_s: float, *, reach_s: float = _REACH_S) -> float:
    """The time of one beat, refined with the period held fast: every slot of the beat that onsets agree on counts."""
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
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])
