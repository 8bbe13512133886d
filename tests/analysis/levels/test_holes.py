"""Holes of known place and length in noise."""

import numpy as np
import pytest

from analysis.levels.holes import HoleMeter
from tests import signals
from tests.analysis.levels.meters import feed


@pytest.mark.parametrize("block_frames", [1_000, 10_007, 96_000])
def test_a_hole_has_its_place_and_length(block_frames: int) -> None:
    samples = signals.noise(duration_s=2.0)
    samples[48_000:60_000] = 0.0

    ((start_s, length_s),) = feed(HoleMeter(48_000), samples, block_frames=block_frames).finish()

    assert start_s == pytest.approx(1.0)
    assert length_s == pytest.approx(0.25)


def test_a_hole_in_the_noise_of_a_file_that_never_is_silent() -> None:
    """Noise at -70 dBFS: a lost quarter of a second in twenty. With six seconds lost it is how the file was edited."""
    samples = signals.noise(rms=10 ** (-70 / 20), duration_s=20.0)
    lost, edited = samples.copy(), samples.copy()
    lost[48_000:60_000] = 0.0
    edited[48_000 : 7 * 48_000] = 0.0

    assert feed(HoleMeter(48_000), lost).finish() == pytest.approx(np.array([[1.0, 0.25]]))
    assert feed(HoleMeter(48_000), edited).finish() == ()


def test_silence_that_is_faded_into_is_a_gate() -> None:
    samples = signals.noise(duration_s=2.0)
    fade = np.linspace(1.0, 0.0, 960)[:, None]
    samples[48_000 - 960 : 48_000] *= fade
    samples[48_000:60_000] = 0.0
    samples[60_000:60_960] *= fade[::-1]

    assert feed(HoleMeter(48_000), samples).finish() == ()


def test_silence_at_either_end_is_no_hole() -> None:
    samples = signals.noise(duration_s=2.0)
    samples[:20_000] = samples[80_000:] = 0.0

    assert feed(HoleMeter(48_000), samples).finish() == ()


@pytest.mark.parametrize("apart", [24_000, 96_000])
def test_strokes_out_of_silence_are_no_holes(apart: int) -> None:
    """Twelve programmed strokes, or three: each dies away, is cut to silence, the next begins at full level."""
    samples = signals.noise(duration_s=6.0) * np.exp(-(np.arange(288_000) % apart) / 2_000)[:, None]
    samples[np.arange(288_000) % apart > 18_000] = 0.0

    assert feed(HoleMeter(48_000), samples).finish() == ()
