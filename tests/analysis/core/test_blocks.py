"""What several meters share: extremes by bucket, and damage that counts as silence."""

import numpy as np
import pytest

from analysis.core.blocks import BUCKET_FRAMES, Block


def test_extremes_are_by_channel_and_bucket() -> None:
    samples = np.zeros((2 * BUCKET_FRAMES + 10, 2))
    samples[3, 0], samples[BUCKET_FRAMES + 1, 1], samples[-1, 0] = 0.5, -0.75, 0.25

    block = Block(samples, 0)

    assert block.highs.tolist() == [[0.5, 0.0, 0.25], [0.0, 0.0, 0.0]]
    assert block.lows.tolist() == [[0.0, 0.0, 0.0], [0.0, -0.75, 0.0]]
    assert block.peaks.tolist() == [[0.5, 0.0, 0.25], [0.0, 0.75, 0.0]]


def test_a_last_bucket_that_is_not_full_has_only_its_own_extremes() -> None:
    block = Block(np.full((10, 1), 0.5), 0)

    assert (block.highs.tolist(), block.lows.tolist()) == ([[0.5]], [[0.5]])


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1_001.0])
def test_damaged_samples_count_as_silence(value: float) -> None:
    samples = np.full((100, 2), 0.5)
    samples[40:43, 1] = value

    block = Block(samples, 1_000)

    assert (block.bad_values, block.first_bad_frame) == (3, 1_040)
    assert block.samples[39:44, 1].tolist() == [0.5, 0.0, 0.0, 0.0, 0.5]
    assert block.peaks.max() == 0.5
    assert np.array_equal(block.exact, samples, equal_nan=True)


def test_music_over_full_scale_is_not_damage() -> None:
    block = Block(np.full((10, 1), 999.0), 0)

    assert block.bad_values == 0
    assert block.first_bad_frame is None
    assert block.peaks.max() == 999.0


def test_an_empty_block_has_no_frames() -> None:
    assert Block(np.zeros((0, 2)), 0).frames == 0
