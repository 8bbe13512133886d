"""Lines at known levels under strokes that die away."""

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.levels.hum import HumMeter
from tests import signals
from tests.analysis.levels.meters import feed


def strokes(duration_s: float = 8.0) -> Samples:
    """A 50 Hz drum every half second, dying away within 60 ms, over hiss at -80 dBFS."""
    time = np.arange(24_000) / 48_000
    stroke = np.sin(2 * np.pi * 50 * time) * np.exp(-time / 0.06)
    return np.tile(stroke, round(2 * duration_s))[:, None] + signals.noise(rms=1e-4, duration_s=duration_s)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_three_lines_are_the_mains(mains_hz: float) -> None:
    samples = strokes()
    time = np.arange(len(samples))[:, None] / 48_000
    for order in (1, 2, 3):
        samples += 0.01 * np.sin(2 * np.pi * order * mains_hz * time)

    hum = feed(HumMeter(48_000), samples).finish()

    assert hum is not None
    assert hum.mains_hz == mains_hz
    assert hum.level == pytest.approx(0.01 * np.sqrt(3), rel=0.5)


def test_a_drum_at_the_pitch_of_the_mains_does_not_hum() -> None:
    assert feed(HumMeter(48_000), strokes()).finish() is None
