"""A cut in a slow wave jumps; a stroke's start does not."""

import numpy as np
import pytest

from analysis.levels.jumps import JumpMeter
from tests import signals
from tests.analysis.levels.meters import feed


@pytest.mark.parametrize("block_frames", [4_096, 10_007])
def test_a_cut_in_a_wave(block_frames: int) -> None:
    time = np.arange(48_000) / 48_000
    wave = 0.5 * np.sin(2 * np.pi * 100 * time)
    samples = np.concatenate([wave[:24_120], wave[24_360:]])[:, None] + signals.noise(rms=1e-4)[:47_760]

    (place_s,) = feed(JumpMeter(48_000, 1), samples, block_frames=block_frames).finish()

    assert place_s == pytest.approx(24_120 / 48_000, abs=2 / 48_000)


def test_the_start_of_a_stroke_is_no_cut() -> None:
    samples = np.concatenate([signals.noise(rms=1e-4), signals.noise(rms=0.2, seed=1)])

    assert feed(JumpMeter(48_000, 1), samples).finish() == ()
