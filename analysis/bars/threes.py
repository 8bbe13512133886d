"""A second look at the readings in 3/4 and 6/8: which of them it is, and never whether the song is in one of them.

Bars of six eighths can be read as 6/8, as 3/4, and as two fast bars of 3/4. How likely all readings in 3/4 and 6/8 are
together stays what the first look said (`weighing.py`), so no song in four is touched; among them, evidence that tells
just these apart counts (`six_eighths.py`, and how repetition and tempo weigh in each). The weights are fitted by
`bench/tempo/fit_threes.py`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from analysis.bars.readings import COLUMNS
from analysis.bars.six_eighths import EIGHTH_COLUMNS, SIGNS
from analysis.core.named_columns import by_name, values_in_order
from analysis.core.samples import Doubles, Flags

WEIGHTS_PATH = Path(__file__).with_name("three_weights.json")
_LOOKED_AT = ("tempo.", "repeats.")
# The numbers that are weighed. Those of another meter are 0 in a reading's row.
THREE_COLUMNS = (
    f"meter.{SIGNS[0]}",
    *(name for name in COLUMNS if name.startswith(SIGNS) and name.split(" ")[-1].startswith(_LOOKED_AT)),
    *EIGHTH_COLUMNS,
)
_PLACES = [COLUMNS.index(name) for name in THREE_COLUMNS]
_METERS = [COLUMNS.index(f"meter.{sign}") for sign in SIGNS]
# A number further from 0 than this many scales says no more than this one (house choice).
_MOST_SCALES = 5.0
_LEAST_PROBABILITY = 1e-300
_DIGITS = 6


@dataclass(frozen=True)
class ThreeWeights:
    """One weight for each of `THREE_COLUMNS`, and the scale it is measured in: float64 arrays, shape (n_columns,)."""

    scale: Doubles
    weight: Doubles

    def standard(self, rows: Doubles) -> Doubles:
        """The numbers that are weighed, in scales, at most five either way.

        Parameters
        ----------
        rows : float64 array, shape (n_readings, len(COLUMNS))

        Returns
        -------
        float64 array, shape (n_readings, len(THREE_COLUMNS))
        """
        return np.clip(rows[:, _PLACES] / self.scale, -_MOST_SCALES, _MOST_SCALES)

    def second_look(self, rows: Doubles, probability: Doubles) -> Doubles:
        """The probabilities with those of 3/4 and 6/8 shared out anew among themselves.

        Parameters
        ----------
        rows : float64 array, shape (n_readings, len(COLUMNS))
        probability : float64 array, shape (n_readings,)
            Of the first look.

        Returns
        -------
        float64 array, shape (n_readings,)
            Adds up to what it did.
        """
        three = is_three(rows)
        if not three.any():
            return probability
        scores = np.log(probability[three] + _LEAST_PROBABILITY) + self.standard(rows[three]) @ self.weight
        shares = np.exp(scores - scores.max())
        found = probability.copy()
        found[three] = shares / shares.sum() * probability[three].sum()
        return found

    def save(self, path: Path) -> None:
        data = {name: by_name(THREE_COLUMNS, getattr(self, name), digits=_DIGITS) for name in ("scale", "weight")}
        path.write_text(json.dumps(data, indent=0) + "\n", "utf-8")


def is_three(rows: Doubles) -> Flags:
    """Which rows are readings in 3/4 or 6/8: bool array, shape (n_readings,)."""
    return np.asarray(rows[:, _METERS].any(axis=1), np.bool_)


@cache
def three_weights() -> ThreeWeights:
    """The weights in use."""
    data = json.loads(WEIGHTS_PATH.read_text("utf-8"))
    return ThreeWeights(*(values_in_order(data[name], THREE_COLUMNS) for name in ("scale", "weight")))
