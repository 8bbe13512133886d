"""The fitted weights of borders and of pairs of sections: what `bench/form/fit_form.py` wrote, by name.

Tested with what uses them: tests/analysis/form/test_sections.py.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

from analysis.core.named_columns import by_name, values_in_order
from analysis.core.samples import Doubles
from analysis.form import borders, letters

PATH = Path(__file__).with_name("form_weights.json")
_DIGITS = 5


@dataclass(frozen=True)
class LinearModel:
    """Log odds: the numbers' weighted sum and a constant.

    Attributes
    ----------
    weights : float64 array, shape (n_numbers,)
    constant : float
    """

    weights: Doubles
    constant: float

    def log_odds(self, numbers: Doubles) -> Doubles:
        """Of each row.

        Parameters
        ----------
        numbers : float64 array, shape (n_rows, n_numbers)

        Returns
        -------
        float64 array, shape (n_rows,)
        """
        odds: Doubles = numbers @ self.weights + self.constant
        return odds


@dataclass(frozen=True)
class FormModels:
    borders: LinearModel
    pairs: LinearModel

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        return cls(_read(data["borders"], borders.NUMBERS), _read(data["pairs"], letters.NUMBERS))

    def to_json(self) -> dict[str, Any]:
        return {
            "borders": _write(self.borders, borders.NUMBERS),
            "pairs": _write(self.pairs, letters.NUMBERS),
        }


def _read(data: dict[str, Any], names: tuple[str, ...]) -> LinearModel:
    return LinearModel(values_in_order(data["weights"], names), float(data["constant"]))


def _write(model: LinearModel, names: tuple[str, ...]) -> dict[str, Any]:
    return {
        "constant": round(model.constant, _DIGITS),
        "weights": by_name(names, model.weights, digits=_DIGITS),
    }


@cache
def form_models() -> FormModels:
    return FormModels.from_json(json.loads(PATH.read_text("utf-8")))
