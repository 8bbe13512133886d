"""Frames and lowered rates of a stream are the same however it is cut."""

from collections.abc import Iterator

import numpy as np
import pytest

from analysis.core.framing import Decimator, Framer, Growing, lowering_factor, overlapping
from analysis.core.samples import Floats


def cut(samples: Floats, sizes: tuple[int, ...]) -> Iterator[Floats]:
    start = 0
    while start < len(samples):
        for size in sizes:
            yield samples[start : start + size]
            start += size


def test_stretches_lie_a_hop_apart() -> None:
    assert overlapping(np.arange(7, dtype=np.float32), 3, 2).tolist() == [[0, 1, 2], [2, 3, 4], [4, 5, 6]]


@pytest.mark.parametrize("sizes", [(1_000,), (1, 7, 30), (3,)])
def test_every_frame_is_centred_on_its_hop(sizes: tuple[int, ...]) -> None:
    samples = np.arange(1, 101, dtype=np.float32)
    framer = Framer(8, 4)

    frames = np.concatenate([*(framer.frames(part) for part in cut(samples, sizes)), framer.last()])

    padded = np.concatenate([np.zeros(4), samples, np.zeros(4)])
    assert np.array_equal(frames, [padded[start : start + 8] for start in range(0, 101, 4)])


def lowered(samples: Floats, factor: int, sizes: tuple[int, ...]) -> Floats:
    decimator = Decimator(factor)
    return np.concatenate([*(decimator.lower(part) for part in cut(samples, sizes)), decimator.last()])


def test_the_size_of_the_blocks_does_not_change_what_is_lowered() -> None:
    samples = np.random.default_rng(1).standard_normal(5_000).astype(np.float32)

    assert lowered(samples, 8, (13, 700)) == pytest.approx(lowered(samples, 8, (5_000,)), abs=1e-5)


def test_a_low_tone_passes_in_place_and_a_high_one_does_not() -> None:
    time_s = np.arange(48_000) / 48_000
    low, high = (np.sin(2 * np.pi * hz * time_s).astype(np.float32) for hz in (200.0, 5_000.0))

    passed, stopped = lowered(low, 8, (4_800,)), lowered(high, 8, (4_800,))

    # An even number of taps is centred between two samples: half of one is left of the delay.
    there_s = (np.arange(len(passed)) * 8 - 0.5) / 48_000
    inner = slice(20, -20)
    assert passed[inner] == pytest.approx(np.sin(2 * np.pi * 200.0 * there_s)[inner], abs=0.01)
    assert np.abs(stopped[inner]).max() < 0.01


def test_a_factor_of_one_changes_nothing() -> None:
    samples = np.arange(5, dtype=np.float32)

    assert np.array_equal(Decimator(1).lower(samples), samples)


@pytest.mark.parametrize(("rate_hz", "factor"), [(6_000, 1), (8_000, 1), (44_100, 7), (48_000, 8), (192_000, 32)])
def test_every_rate_is_lowered_to_about_six_kilohertz(rate_hz: int, factor: int) -> None:
    assert lowering_factor(rate_hz) == factor


def test_rows_outlast_the_growing_of_their_array() -> None:
    growing = Growing(2)
    rows = np.arange(6_000, dtype=np.float32).reshape(-1, 2)

    for part in (rows[:10], rows[10:2_000], rows[2_000:]):
        growing.add(part)

    assert np.array_equal(growing.array(), rows)
