import numpy as np
import pytest

from analysis.core.blocks import Block
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.levels.silence import Silence, SilenceMeter
from tests import signals


def silence_of(samples: Samples, *, block_frames: int = 65_536) -> Silence:
    meter = SilenceMeter(Limits())
    for start in range(0, len(samples), block_frames):
        meter.add(Block(samples[start : start + block_frames], start))
    return meter.finish()


@pytest.mark.parametrize("block_frames", [512, 10_240, 65_536])
@pytest.mark.parametrize(("leading", "trailing"), [(0, 0), (1, 1), (511, 513), (70_000, 131_072)])
def test_counts_frames_before_and_after_the_sound(leading: int, trailing: int, block_frames: int) -> None:
    sound = np.full((20_000, 1), 0.5)
    samples = np.concatenate([np.zeros((leading, 1)), sound, np.zeros((trailing, 1))])

    assert silence_of(samples, block_frames=block_frames) == Silence(leading, trailing)


def test_hiss_far_under_the_music_is_silence() -> None:
    hiss = signals.noise(rms=1e-4, duration_s=1.0)  # peaks near -67 dBFS
    samples = np.concatenate([hiss, signals.tone(amplitude=0.9), hiss])

    assert silence_of(samples).leading_frames == pytest.approx(48_000, abs=10)


def test_a_quiet_start_of_a_quiet_file_is_sound() -> None:
    """Peak -30 dBFS: the threshold is 50 dB under it, -80 dBFS, so -65 dBFS is heard."""
    samples = np.concatenate([np.full((1_000, 1), 0.00056), np.full((1_000, 1), 0.0316)])

    assert silence_of(samples).leading_frames == 0


def test_silence_begins_and_ends_nowhere() -> None:
    assert silence_of(signals.silence()) == Silence(None, None)
