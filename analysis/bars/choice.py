"""Weigh readings against each other: a softmax over weighted evidence, so that the shares are honest probabilities.

The weights are fitted by `bench/fit_choice.py` on songs whose truth is known and live in `choice_weights.json`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from analysis.core.samples import Doubles

WEIGHTS_PATH = Path(__file__).with_name("choice_weights.json")
# A number further from the mean than this many spreads says no more than this one.
_MOST_SPREADS = 5.0


@dataclass(frozen=True)
class Weights:
    """One weight for each number of a reading's evidence, with the mean and spread it is measured in."""

    mean: Doubles
    spread: Doubles
    weight: Doubles
    sharpness: float = 1.0

    def probabilities(self, rows: Doubles) -> Doubles:
        scores = self.sharpness * (self.standard(rows) @ self.weight)
        shares = np.exp(scores - scores.max())
        found: Doubles = shares / shares.sum()
        return found

    def standard(self, rows: Doubles) -> Doubles:
        return np.clip((rows - self.mean) / self.spread, -_MOST_SPREADS, _MOST_SPREADS)


@cache
def fitted_weights() -> Weights:
    stored = json.loads(WEIGHTS_PATH.read_text())
    mean, spread, weight = (np.array(stored[name]) for name in ("mean", "spread", "weight"))
    return Weights(mean, spread, weight, stored["sharpness"])
