"""The drift of a click that is set a little wrong."""

from __future__ import annotations

import pytest

from analysis.maps.click_drift import click_drift_s


@pytest.mark.parametrize(("true_bpm", "error_bpm"), [(60, 0.0025), (112, 0.00466), (174, 0.00725)])
def test_what_keeps_a_click_within_ten_milliseconds(true_bpm: float, error_bpm: float) -> None:
    # Derived: 10 ms in 240 s are 41.7 parts in a million.
    assert 1000 * click_drift_s(true_bpm, true_bpm + error_bpm, 240) == pytest.approx(10, rel=0.003)
