"""Log odds of a weighted sum, by arithmetic, and its storage by name."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.linear_model import LinearModel


def test_log_odds_are_a_weighted_sum_and_a_constant() -> None:
    model = LinearModel(np.array([2.0, -1.0]), 0.5)

    # 2 * 3 - 1 * 4 + .5 and 2 * 0 - 1 * 1 + .5
    assert model.log_odds(np.array([[3.0, 4.0], [0.0, 1.0]])).tolist() == [2.5, -0.5]


def test_it_is_stored_by_name_and_read_in_any_order() -> None:
    stored = LinearModel(np.array([2.0, -1.0]), 0.5).to_json(("level", "change"))

    read = LinearModel.from_json(stored, ("change", "level"))

    assert (read.weights.tolist(), read.constant) == ([-1.0, 2.0], 0.5)
    with pytest.raises(ValueError, match="change"):
        LinearModel.from_json(stored, ("level",))
