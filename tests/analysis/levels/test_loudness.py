"""ITU-R BS.1770-5 on the published test signals: EBU Tech 3341 v4 (2023) table 1, EBU Tech 3342 table 1."""

import numpy as np
import pytest
from scipy.signal import sosfilt

from analysis.levels.k_weighting import k_weighting
from analysis.levels.loudness import measure_loudness
from tests import signals
from tests.signals import LOUDNESS_TOLERANCE_LU, LoudnessCase

LOUDNESS_RANGE_TOLERANCE_LU = 1.0


def measured(case: LoudnessCase, sample_rate_hz: int = 48_000) -> float | None:
    loudness = measure_loudness(signals.loudness_signal(case, sample_rate_hz=sample_rate_hz), sample_rate_hz)
    return {
        "I": loudness.integrated_lufs,
        "S": loudness.short_term_max_lufs,
        "M": loudness.momentary_max_lufs,
    }[case.measure]


@pytest.mark.parametrize("case", signals.LOUDNESS_CASES, ids=lambda case: f"EBU Tech 3341 case {case.number}")
def test_meets_the_published_cases(case: LoudnessCase) -> None:
    assert measured(case) == pytest.approx(case.expected_lufs, abs=LOUDNESS_TOLERANCE_LU)


@pytest.mark.parametrize("number", [10, 13])
@pytest.mark.parametrize("step", range(20))
def test_meets_the_cases_whose_start_moves(number: int, step: int) -> None:
    """Source: EBU Tech 3341 v4, cases 10 (short-term) and 13 (momentary)."""
    case = signals.start_shifted(number, step)

    assert measured(case) == pytest.approx(case.expected_lufs, abs=LOUDNESS_TOLERANCE_LU)


@pytest.mark.parametrize("number", [1, 2])
def test_steady_tones_read_the_same_short_and_momentary(number: int) -> None:
    """Source: EBU Tech 3341 v4, cases 1 and 2: M = S = I."""
    case = signals.LOUDNESS_CASES[number - 1]
    loudness = measure_loudness(signals.loudness_signal(case), 48_000)

    for value in (loudness.momentary_max_lufs, loudness.short_term_max_lufs):
        assert value == pytest.approx(case.expected_lufs, abs=LOUDNESS_TOLERANCE_LU)


def test_weighs_surround_channels() -> None:
    """Source: EBU Tech 3341 v4, case 6."""
    samples, expected_lufs = signals.surround_case()

    assert measure_loudness(samples, 48_000).integrated_lufs == pytest.approx(expected_lufs, abs=LOUDNESS_TOLERANCE_LU)


@pytest.mark.parametrize("sample_rate_hz", [8_000, 11_025, 44_100, 88_200, 96_000, 192_000])
def test_reads_the_same_at_every_rate(sample_rate_hz: int) -> None:
    case = LoudnessCase(1, ((-23.0, 5),), -23.0)

    assert measured(case, sample_rate_hz) == pytest.approx(-23.0, abs=LOUDNESS_TOLERANCE_LU)


@pytest.mark.parametrize(
    ("amplitude_db", "channels", "expected_lufs"), [(0.0, 1, -3.01), (0.0, 2, 0.0), (-23.0, 1, -26.01)]
)
def test_anchors(amplitude_db: float, channels: int, expected_lufs: float) -> None:
    """Source: ITU-R BS.1770-5 Annex 1: 997 Hz at full scale in one front channel is -3.01 LKFS."""
    samples = signals.tone(hz=997.0, amplitude=10 ** (amplitude_db / 20), duration_s=5, channels=channels)

    assert measure_loudness(samples, 48_000).integrated_lufs == pytest.approx(expected_lufs, abs=0.02)


@pytest.mark.parametrize(
    ("levels_dbfs", "expected_lu"),
    [((-20, -30), 10), ((-20, -15), 5), ((-40, -20), 20), ((-50, -35, -20, -35, -50), 15)],
)
def test_loudness_range(levels_dbfs: tuple[int, ...], expected_lu: float) -> None:
    """Source: EBU Tech 3342, table 1, cases 1 to 4: 20 s each."""
    samples = signals.loudness_signal(LoudnessCase(0, tuple((level, 20) for level in levels_dbfs), 0.0))

    assert measure_loudness(samples, 48_000).range_lu == pytest.approx(expected_lu, abs=LOUDNESS_RANGE_TOLERANCE_LU)


def test_single_precision_costs_nothing() -> None:
    """Low rumble is where rounding of the high-pass's poles would show."""
    samples = signals.tone(hz=30.0, amplitude=0.5, duration_s=5) + signals.noise(rms=0.001, duration_s=5)
    weighted = sosfilt(k_weighting(48_000), samples[:, 0])
    by_hand = -0.691 + 10 * np.log10(np.mean(weighted[4_800:] ** 2))

    assert measure_loudness(samples, 48_000).integrated_lufs == pytest.approx(by_hand, abs=0.01)


def test_silence_has_no_loudness() -> None:
    loudness = measure_loudness(signals.silence(duration_s=5), 48_000)

    assert (loudness.integrated_lufs, loudness.range_lu, loudness.momentary_max_lufs) == (None, None, None)


def test_what_is_shorter_than_a_block_has_no_loudness() -> None:
    assert measure_loudness(signals.tone(duration_s=0.3), 48_000).integrated_lufs is None
