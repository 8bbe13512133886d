"""True peak by ITU-R BS.1770-5 Annex 2, on the signals of EBU Tech 3341 v4 (2023), table 1: +0.2 / -0.4 dB."""

import math

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.levels.true_peak import interpolator, measure_true_peak
from tests import signals
from tests.signals import TRUE_PEAK_ABOVE_DB, TRUE_PEAK_BELOW_DB, TruePeakCase


def true_peak_dbtp(samples: Samples, sample_rate_hz: int = 48_000) -> float:
    return 20.0 * math.log10(measure_true_peak(samples, sample_rate_hz))


def assert_within_tolerance(measured_dbtp: float, expected_dbtp: float) -> None:
    assert expected_dbtp - TRUE_PEAK_BELOW_DB <= measured_dbtp <= expected_dbtp + TRUE_PEAK_ABOVE_DB


@pytest.mark.parametrize("case", signals.TRUE_PEAK_TONES, ids=lambda case: f"EBU Tech 3341 case {case.number}")
@pytest.mark.parametrize("sample_rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_meets_the_published_tones(case: TruePeakCase, sample_rate_hz: int) -> None:
    samples = signals.true_peak_tone(case, sample_rate_hz=sample_rate_hz)

    assert_within_tolerance(true_peak_dbtp(samples, sample_rate_hz), case.expected_dbtp)
    assert 20 * math.log10(np.abs(samples).max()) == pytest.approx(case.sample_peak_dbfs, abs=0.01)


@pytest.mark.parametrize("offset", range(4), ids=lambda offset: f"EBU Tech 3341 case {20 + offset}")
def test_meets_the_decimated_tones(offset: int) -> None:
    samples = signals.decimated_true_peak_tone(offset)

    assert_within_tolerance(true_peak_dbtp(samples), signals.DECIMATED_EXPECTED_DBTP)


def uneven_noise(seed: int) -> Samples:
    """A loud passage sets the bar, then noise of rising level follows."""
    samples = np.random.default_rng(seed).standard_normal((30_000, 2)) * 0.2 * np.linspace(0.2, 1.0, 30_000)[:, None]
    samples[5_000:5_400] *= 2.0
    return samples


def without_skipping(samples: Samples) -> float:
    """Every phase of every sample, by plain convolution."""
    padded = np.pad(samples, ((64, 64), (0, 0)))
    phases = [np.convolve(channel, taps[::-1]) for taps in interpolator(8) for channel in padded.T]
    return float(max(np.abs(samples).max(), *(np.abs(phase).max() for phase in phases)))


@pytest.mark.parametrize("seed", range(8))
def test_skipping_quiet_stretches_loses_no_peak(seed: int) -> None:
    samples = uneven_noise(seed)

    assert measure_true_peak(samples, 48_000) == pytest.approx(without_skipping(samples), rel=1e-5)


def band_limited(samples: Samples, share_of_nyquist: float) -> Samples:
    spectrum = np.fft.rfft(samples, axis=0)
    spectrum[round(share_of_nyquist * len(spectrum)) :] = 0.0
    return np.asarray(np.fft.irfft(spectrum, len(samples), axis=0))


def by_the_whole_spectrum(samples: Samples, factor: int = 32) -> float:
    """The wave between the samples by zero-padding the spectrum: no filter of ours involved."""
    return float(np.abs(np.fft.irfft(np.fft.rfft(samples, axis=0), len(samples) * factor, axis=0) * factor).max())


@pytest.mark.parametrize("seed", range(4))
def test_agrees_with_the_wave_itself(seed: int) -> None:
    """Annex 2, attachment 1: eight-fold oversampling reads at most 0.17 dB low, here up to 20 kHz."""
    samples = band_limited(np.pad(uneven_noise(seed), ((5_000, 5_000), (0, 0))), 20.0 / 24.0)

    exact_db = 20 * math.log10(by_the_whole_spectrum(samples))
    assert exact_db - 0.17 <= true_peak_dbtp(samples) <= exact_db + 0.05


def test_finds_a_peak_between_two_blocks() -> None:
    samples = signals.true_peak_tone(signals.TRUE_PEAK_TONES[4])
    padded = np.concatenate([np.zeros((65_536 - 24_000, 2)), samples * 0.5])
    padded[65_536 - 8 : 65_536 + 8] *= 1.5

    assert true_peak_dbtp(padded) > true_peak_dbtp(samples * 0.5)


def test_the_end_is_followed_by_silence() -> None:
    samples = np.zeros((1_000, 1))
    samples[-2:] = 0.9

    assert measure_true_peak(samples, 48_000) > 0.95


def test_filters_pass_a_constant_unchanged() -> None:
    assert interpolator(8).sum(axis=1) == pytest.approx(np.ones(7), abs=1e-6)


def test_silence_has_no_peak() -> None:
    assert measure_true_peak(signals.silence(), 48_000) == 0.0
