"""How far a file lies off the song's grid: the phase of its attacks on the beat's halves, thirds or quarters.

A stem that starts late plays a shifted pattern: its attacks agree with each other, and not with the grid. Only the part
of the shift that is no whole subdivision can be seen, so what is reported is the least shift that explains it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.attacks import Attacks

Doubles = NDArray[Any]
DIVISIONS = (2, 3, 4)
# Quarters fold more, so they look more coherent by chance.
FINER_COSTS = 0.03
LEAST_ATTACKS = 8


@dataclass(frozen=True)
class Lag:
    """Seconds after the grid, how well the attacks agree on it (0 to 1), and the spacing that it is folded to."""

    seconds: float
    coherence: float
    spacing_s: float


def lag_on_grid(attacks: Attacks, beats_s: Doubles) -> Lag | None:
    """The lag of a file's attacks behind the song's beats; None when there are too few of either."""
    mine = ~attacks.is_bass & (attacks.times_s > beats_s[0]) & (attacks.times_s < beats_s[-1]) if len(beats_s) else []
    if len(beats_s) < 2 or np.sum(mine) < LEAST_ATTACKS:
        return None
    beats = np.interp(attacks.times_s[mine], beats_s, np.arange(len(beats_s)))
    weights, period_s = attacks.weight[mine], float(np.median(np.diff(beats_s)))
    lags = [_lag(beats, weights, division, period_s) for division in DIVISIONS]
    costs = (0.0, 0.0, FINER_COSTS)
    return max(zip(lags, costs, strict=True), key=lambda pair: pair[0].coherence - pair[1])[0]


def _lag(beats: Doubles, weights: Doubles, division: int, period_s: float) -> Lag:
    vector = (weights * np.exp(2j * np.pi * division * beats)).sum() / weights.sum()
    turn = float(np.angle(vector)) / (2 * np.pi)
    return Lag(turn / division * period_s, float(np.abs(vector)), period_s / division)
