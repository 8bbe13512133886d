"""The drift of a click that is set a little wrong."""

from __future__ import annotations

import pytest

from analysis.drift import click_drift_s

# Derived: in T seconds of music at B a click at B + d moves by T * d / (B + d); here after four minutes, in ms.
AFTER_FOUR_MINUTES = [
    (112, "0.05", 107.1),
    (112, "-0.05", -107.2),
    (112, "0.005", 10.71),
    (112, "0.0005", 1.07),
    (112, "0.5", 1066.7),
    (60, "0.05", 199.8),
    (120, "0.05", 100.0),
    (174, "0.05", 68.9),
]


@pytest.mark.parametrize(("true_bpm", "error", "expected_ms"), AFTER_FOUR_MINUTES)
def test_drift_after_four_minutes(true_bpm: int, error: str, expected_ms: float) -> None:
    assert 1000 * click_drift_s(true_bpm, true_bpm + float(error), 240) == pytest.approx(expected_ms, abs=0.1)


@pytest.mark.parametrize(("true_bpm", "error_bpm"), [(60, 0.0025), (112, 0.00466), (174, 0.00725)])
def test_what_keeps_a_click_within_ten_milliseconds(true_bpm: float, error_bpm: float) -> None:
    # Derived: 10 ms in 240 s are 41.7 parts in a million.
    assert 1000 * click_drift_s(true_bpm, true_bpm + error_bpm, 240) == pytest.approx(10, rel=0.003)
