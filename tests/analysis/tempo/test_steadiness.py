"""Bar lines that a band keeps, and some that follow free playing. Lengths of bars are given: all is arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.reports import BarOne, Meter, SongMeasures, Tempo
from analysis.tempo.steadiness import is_unsteady, no_surer_than


def lines(lengths_s: np.ndarray) -> list[float]:
    return [0.0, *(float(at_s) for at_s in np.cumsum(lengths_s))]


def test_a_drift_is_kept_by_somebody() -> None:
    """Three per cent up and down over 24 bars: within four bars at most 2 × .03 × sin(π 3 / 24) = 2.3 %."""
    assert not is_unsteady(lines(2.0 * (1 + 0.03 * np.sin(2 * np.pi * np.arange(48) / 24))))


@pytest.mark.parametrize(("longer_bars", "unsteady"), [((), False), ((12,), False), ((12, 14, 16), True)])
def test_bars_that_change_by_a_tenth_again_and_again_are_nobody_s(
    longer_bars: tuple[int, ...], *, unsteady: bool
) -> None:
    """Of the 34 windows of four within the first 37 of 40 bars, three longer bars are in eight, more than a tenth. One
    is in four, and nine tenths of the windows lie below the line between none and them: 0.7 × ln 1.1 = .067."""
    lengths_s = np.full(40, 2.0)
    lengths_s[list(longer_bars)] = 2.2
    assert is_unsteady(lines(lengths_s)) == unsteady


def test_an_ending_may_slow_down() -> None:
    """The last three bars are a half longer each than the one before."""
    assert not is_unsteady(lines(np.array([2.0] * 30 + [3.0, 4.5, 6.75])))


def test_too_few_bars_say_nothing() -> None:
    assert not is_unsteady(lines(np.array([2.0, 3.0] * 5)))
    assert not is_unsteady([])


def test_nothing_is_surer_than_it_may_be() -> None:
    song = SongMeasures(tempo=Tempo("map", 100.0, confidence=0.94), meter=Meter(4, 4, 0.3), bar_one=BarOne(1.0, 1, 0.9))
    held = no_surer_than(song, 0.5)
    assert (held.tempo.confidence, held.meter.confidence, held.bar_one.confidence) == (0.5, 0.3, 0.5)
    assert (held.tempo.bpm, held.bar_one.time_s) == (100.0, 1.0)
