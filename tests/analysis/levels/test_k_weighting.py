"""The block form against the same sections run sample by sample in double precision (scipy.signal.sosfilt)."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import sosfilt

from analysis.levels.k_weighting import KWeighting, k_weighting
from tests import signals

# A float32 has 24 bits: 1.2e-7 of full scale in each of some sums.
TOLERANCE = 3e-6


def test_gives_the_tabled_coefficients_at_48_khz() -> None:
    """Source: ITU-R BS.1770-5 Annex 1, tables 1 and 2."""
    shelf, high_pass = k_weighting(48_000)

    assert shelf == pytest.approx(
        [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585], abs=1e-9
    )
    assert high_pass == pytest.approx([1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621], abs=1e-9)


@pytest.mark.parametrize("sample_rate_hz", [1_000, 3_000, 8_000, 44_100, 48_000, 192_000, 768_000])
def test_blocks_of_any_length_give_what_the_recursion_gives(sample_rate_hz: int) -> None:
    noise = signals.noise(rms=0.2, duration_s=30_000 / sample_rate_hz, sample_rate_hz=sample_rate_hz)
    rows = np.ascontiguousarray(np.stack([noise[:, 0], 0.5 - noise[:, 0]]), np.float32)
    weighting = KWeighting(sample_rate_hz, channels=2)

    edges = [0, 1, 64, 65, 4_161, 6_209, 20_000, rows.shape[1]]
    parts = [weighting.weighted(rows[:, start:end]) for start, end in pairwise(edges)]

    expected = sosfilt(k_weighting(sample_rate_hz), rows.astype(np.float64))
    assert np.concatenate(parts, axis=1) == pytest.approx(expected, abs=TOLERANCE)


def test_an_offset_leaves_nothing_behind() -> None:
    """The high-pass takes a constant away altogether; what rounding leaves lies under a 24-bit word's noise."""
    weighting = KWeighting(48_000, channels=1)
    constant = np.full((1, 48_000), 0.5, np.float32)
    for _ in range(4):
        last = weighting.weighted(constant)

    assert np.sqrt(np.mean(last**2)) < 2.0**-23
