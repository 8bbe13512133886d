import numpy as np
import pytest

from analysis.core.blocks import BUCKET_FRAMES, Block
from analysis.levels.pyramid import MOST_BUCKETS, PyramidMeter
from tests import signals


def picture(samples: np.ndarray, block_frames: int = 65_536) -> np.ndarray:
    meter = PyramidMeter()
    for start in range(0, len(samples), block_frames):
        meter.add(Block(samples[start : start + block_frames], start))
    return meter.finish()


@pytest.mark.parametrize("block_frames", [BUCKET_FRAMES, 65_536])
@pytest.mark.parametrize("frames", [1, BUCKET_FRAMES, 100_000])
def test_lowest_and_highest_of_every_stretch(frames: int, block_frames: int) -> None:
    samples = signals.noise(duration_s=frames / 48_000, channels=2).astype(np.float32)
    found = picture(samples, block_frames)

    assert len(found) == -(-frames // BUCKET_FRAMES)
    for index, (low, high) in enumerate(found):
        part = samples[index * BUCKET_FRAMES : (index + 1) * BUCKET_FRAMES]
        assert (low, high) == (part.min(), part.max())


@pytest.mark.parametrize("times", [1.0, 1.5, 2.0, 3.7, 9.0])
def test_never_more_than_a_fixed_number(times: float) -> None:
    """One frame a bucket stands for many: blocks of one repeated value each."""
    buckets = round(MOST_BUCKETS * times)
    values = np.random.default_rng(0).standard_normal(buckets).astype(np.float32)
    meter = PyramidMeter()
    for start in range(0, buckets, 997):
        part = values[start : start + 997]
        meter.add(Block(np.repeat(part, BUCKET_FRAMES)[:, None] * np.float32(0.1), start * BUCKET_FRAMES))
    found = meter.finish()

    assert len(found) <= MOST_BUCKETS + 1
    step = buckets / len(found)
    assert found[:, 0].min() == pytest.approx(values.min() * 0.1, rel=1e-6)
    place = int(np.argmax(found[:, 1]))
    assert place == pytest.approx(int(np.argmax(values)) / step, abs=1.0)
