"""Readings weighed against each other."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.bars.beat_table import prepare
from analysis.bars.readings import COLUMNS, readings_of
from analysis.bars.weighing import WEIGHTS_PATH, Weights, fitted_weights, read_weights
from analysis.tempo.evidence import pool
from analysis.tempo.grid import fit_grid
from tests.analysis.playing import band, features_of


def test_the_fitted_weights_fit_the_evidence() -> None:
    music = pool([features_of(band(0.5 + np.arange(49) * 0.5))])
    assert music is not None
    fit = fit_grid(music, 0.5)
    assert fit is not None

    readings, rows = readings_of(prepare(music), [fit])
    probabilities = fitted_weights().probabilities(rows)

    assert len(probabilities) == len(readings)
    assert probabilities.sum() == pytest.approx(1)


def test_more_of_what_counts_makes_likelier() -> None:
    weights = Weights(np.zeros(2), np.ones(2), np.array([1.0, -1.0]))

    found = weights.probabilities(np.array([[1.0, 0.0], [0.0, 0.0], [0.0, 1.0]]))

    assert list(np.argsort(found)) == [2, 1, 0]
    # Softmax: equal steps of score are equal ratios of probability.
    assert found[0] / found[1] == pytest.approx(np.e)


def test_one_wild_number_does_not_decide_alone() -> None:
    weights = Weights(np.zeros(1), np.ones(1), np.ones(1))

    assert weights.standard(np.array([[1e9]]))[0, 0] == 5.0


def test_weights_are_told_by_name_and_not_by_order(tmp_path: Path) -> None:
    stored = json.loads(WEIGHTS_PATH.read_text())
    backwards = stored | {name: dict(reversed(stored[name].items())) for name in ("mean", "spread", "weight")}
    path = tmp_path / "weights.json"
    path.write_text(json.dumps(backwards))

    assert list(read_weights(path).weight) == list(fitted_weights().weight)
    assert fitted_weights().weight[COLUMNS.index("repeats.harmony.two")] == stored["weight"]["repeats.harmony.two"]


@pytest.mark.parametrize("change", [{"attacks.loud": 1.0}, {"attacks.on_beat": None}])
def test_weights_for_other_evidence_are_refused(tmp_path: Path, change: dict[str, float | None]) -> None:
    stored = json.loads(WEIGHTS_PATH.read_text())
    changed = {name: value for name, value in (stored["weight"] | change).items() if value is not None}
    path = tmp_path / "weights.json"
    path.write_text(json.dumps(stored | {"weight": changed}))

    with pytest.raises(ValueError, match="do not fit the evidence"):
        read_weights(path)
