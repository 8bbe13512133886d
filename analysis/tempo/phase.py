"""Where exactly the beat lies once its period is settled: the middle of the onsets that belong to it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.tempo.evidence import Evidence

Doubles = NDArray[Any]
REACH_S = 0.04
# The rise of the energy is strongest a little after a sound's start; measured on notes with known starts.
SEEN_LATE_S = 0.0025
SLOTS = 12


def settle_phase(evidence: Evidence, period_s: float, beat_s: float, *, reach_s: float = REACH_S) -> float:
    """The time of one beat, refined with the period held fast: every slot of the beat that onsets agree on counts."""
    apart = (evidence.onset_s - beat_s) / period_s
    slot_s = period_s / SLOTS
    slot = np.rint(apart * SLOTS)
    residual = (apart * SLOTS - slot) * slot_s
    on_beat = (slot % SLOTS == 0) | (slot % SLOTS == 6)
    near = on_beat & (np.abs(residual) < min(reach_s, 0.1 * period_s))
    if near.sum() < 4:
        return beat_s
    weights = np.sqrt(evidence.onset_weight[near]) * evidence.onset_sharpness[near]
    return beat_s + weighted_median(residual[near], weights) - SEEN_LATE_S


def weighted_median(values: Doubles, weights: Doubles) -> float:
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])
