"""A fitted weighted sum with a constant: the log odds of a logistic regression, stored by the names of its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

from analysis.core.named_columns import by_name, values_in_order
from analysis.core.samples import Doubles

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

    @classmethod
    def from_json(cls, data: dict[str, Any], names: Sequence[str]) -> Self:
        """As `to_json` made it.

        Raises
        ------
        ValueError
            When the stored names are not `names`.
        """
        return cls(values_in_order(data["weights"], names), float(data["constant"]))

    def to_json(self, names: Sequence[str]) -> dict[str, Any]:
        """The weights by the names of their numbers."""
        return {"constant": round(self.constant, _DIGITS), "weights": by_name(names, self.weights, digits=_DIGITS)}
