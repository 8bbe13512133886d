"""Weigh readings against each other: a softmax over weighted evidence, so that the shares are honest probabilities.

The weights are fitted by `bench/tempo/fit_choice.py` on songs whose truth is known. They live in `choice_weights.json`,
by the names of the numbers they weigh (`COLUMNS` in `readings.py`).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from analysis.bars.readings import COLUMNS
from analysis.core.samples import Doubles

WEIGHTS_PATH = Path(__file__).with_name("choice_weights.json")
# A number further from the mean than this many spreads says no more than this one (house choice).
_MOST_SPREADS = 5.0


@dataclass(frozen=True)
class Weights:
    """One weight for each number of a reading's evidence, with the mean and spread it is measured in.

    Float64 arrays, shape (n_columns,), in the order of `COLUMNS`. `sharpness` makes all probabilities bolder or meeker.
    """

    mean: Doubles
    spread: Doubles
    weight: Doubles
    sharpness: float = 1.0

    def probabilities(self, rows: Doubles) -> Doubles:
        """How likely each reading is.

        Parameters
        ----------
        rows : float64 array, shape (n_readings, n_columns)
            At least one reading.

        Returns
        -------
        float64 array, shape (n_readings,)
            Adds up to 1.
        """
        scores = self.sharpness * (self.standard(rows) @ self.weight)
        shares = np.exp(scores - scores.max())
        found: Doubles = shares / shares.sum()
        return found

    def standard(self, rows: Doubles) -> Doubles:
        """The rows in spreads from the mean, at most five either way: the same shape."""
        return np.clip((rows - self.mean) / self.spread, -_MOST_SPREADS, _MOST_SPREADS)


def read_weights(path: Path) -> Weights:
    """Weights by name, as `bench/tempo/fit_choice.py` writes them.

    Raises
    ------
    ValueError
        When the names are not those in `COLUMNS`.
    """
    stored = json.loads(path.read_text())
    mean, spread, weight = (_in_order(stored[name]) for name in ("mean", "spread", "weight"))
    return Weights(mean, spread, weight, stored["sharpness"])


def _in_order(by_name: Mapping[str, float]) -> Doubles:
    if set(by_name) != set(COLUMNS):
        unlike = sorted(set(by_name) ^ set(COLUMNS))
        raise ValueError(f"the weights do not fit the evidence: {len(unlike)} names differ, such as {unlike[0]}")
    return np.array([by_name[name] for name in COLUMNS])


@cache
def fitted_weights() -> Weights:
    """The weights in use."""
    return read_weights(WEIGHTS_PATH)
