"""The signals that all other tests trust."""

from fractions import Fraction

import numpy as np
import numpy.typing as npt
import pytest

from analysis.core.samples import Samples
from tests import signals


def level_dbfs(samples: Samples) -> float:
    return float(20 * np.log10(np.abs(samples).max()))


def run_lengths(stuck: npt.NDArray[np.bool_]) -> list[int]:
    edges = np.diff(np.concatenate([[False], stuck, [False]]).astype(int))
    return [int(length) for length in np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)]


@pytest.mark.parametrize("case", signals.TRUE_PEAK_TONES, ids=lambda case: str(case.number))
def test_true_peak_tones_have_the_sample_peaks_of_the_standard(case: signals.TruePeakCase) -> None:
    # Source: EBU Tech 3341 v4, table 1; the sample peak is arithmetic.
    tone = signals.true_peak_tone(case)

    assert level_dbfs(tone) == pytest.approx(case.sample_peak_dbfs, abs=signals.PEAK_TOLERANCE_DB)
    assert tone.shape == (48_000, 2)


@pytest.mark.parametrize("offset", range(4))
def test_decimated_tones_have_the_sample_peaks_of_the_standard(offset: int) -> None:
    # Source: EBU Tech 3341 v4, cases 20-23; the filter before decimation moves the peaks by hundredths.
    peak_dbfs = level_dbfs(signals.decimated_true_peak_tone(offset))

    assert peak_dbfs == pytest.approx(signals.DECIMATED_SAMPLE_PEAKS_DBFS[offset], abs=0.03)


@pytest.mark.parametrize("offset", range(4))
def test_decimated_tones_reach_full_scale_between_samples(offset: int) -> None:
    from scipy.signal import resample_poly

    peak_dbtp = level_dbfs(resample_poly(signals.decimated_true_peak_tone(offset)[:, :1], 32, 1))

    expected = signals.DECIMATED_EXPECTED_DBTP
    assert expected - signals.TRUE_PEAK_BELOW_DB <= peak_dbtp <= expected + signals.TRUE_PEAK_ABOVE_DB


def test_a_clipped_tone_has_the_runs_that_arithmetic_gives() -> None:
    wave = signals.clipped_tone()[:, 0]
    runs = run_lengths(wave == wave.max()) + run_lengths(wave == wave.min())

    # Source: measured with numpy 2.4.6 and reproducible by arithmetic: 997 Hz, +3 dB, 24 bits, 48 kHz, 1 s.
    assert len(runs) == 1_994
    assert set(runs) == {12, 13}
    assert sum(runs) == 23_962


@pytest.mark.parametrize(("hz", "longest"), [(20, 5), (40, 3), (60, 1)])
def test_low_full_scale_sines_rest_at_the_rail_without_being_clipped(hz: float, longest: int) -> None:
    wave = signals.full_scale_low_sine(hz)[:, 0]

    assert max(run_lengths(wave == wave.max())) == longest


def test_clicks_begin_on_exact_frames() -> None:
    track = signals.click_track(bpm=112, beats=29, first_frame=205_714)
    sounding = np.flatnonzero(np.abs(track.samples[:, 0]) > 0)
    starts = sounding[np.flatnonzero(np.diff(sounding, prepend=-10_000) > 5_000)]

    assert tuple(starts) == track.frames
    # Source: arithmetic; bar 8 at 112 starts 720 000 frames of 48 kHz after bar 1, exactly.
    assert track.frames[28] - track.frames[0] == 720_000
    assert track.bar_frames == track.frames[::4]


def test_half_frames_round_up() -> None:
    # Source: arithmetic; a beat at 96 is 27 562.5 frames of 44.1 kHz.
    assert signals.beat_frame(1, 96, 44_100) == 27_563
    assert signals.beat_frame(4, 96, 44_100) == 110_250
    assert signals.beat_frame(37 * 4, Fraction("92.5"), 48_000) == 4_608_000


def test_mic_pairs_lag_by_what_they_say() -> None:
    for pair in (signals.overhead_pair(), signals.overhead_pair(inverted=True), signals.snare_heads()):
        first, second = pair.first[:, 0], pair.second[:, 0]
        spectrum = np.fft.rfft(second, 2 * len(second)) * np.conj(np.fft.rfft(first, 2 * len(first)))
        likeness = np.fft.irfft(spectrum)
        at = int(np.abs(likeness).argmax())
        assert at == pair.lag_frames
        assert np.sign(likeness[at]) == pair.sign


def test_loudness_cases_hold_the_levels_and_lengths_of_the_standard() -> None:
    # Source: EBU Tech 3341 v4, table 1, case 3.
    samples = signals.loudness_signal(signals.LOUDNESS_CASES[2])

    assert len(samples) == 80 * 48_000
    assert level_dbfs(samples[: 9 * 48_000]) == pytest.approx(-36, abs=1e-6)
    assert level_dbfs(samples[20 * 48_000 : 60 * 48_000]) == pytest.approx(-23, abs=1e-6)


def test_shifted_bursts_start_after_their_silence() -> None:
    samples = signals.loudness_signal(signals.start_shifted(10, 7))

    # Source: EBU Tech 3341 v4, case 10: i x 0.15 s of silence. The sine's own first frame is zero.
    assert np.flatnonzero(samples[:, 0])[0] == pytest.approx(7 * 0.15 * 48_000, abs=1)


def test_surround_levels_are_per_channel() -> None:
    samples, expected_lufs = signals.surround_case()

    assert [level_dbfs(samples[:, channel]) for channel in range(5)] == pytest.approx([-28, -28, -24, -30, -30])
    assert expected_lufs == -23.0


def test_noise_has_its_level_and_its_seed() -> None:
    samples = signals.noise(rms=0.1, channels=2, seed=4)

    assert np.sqrt(np.mean(samples**2, axis=0)) == pytest.approx([0.1, 0.1])
    assert np.array_equal(samples, signals.noise(rms=0.1, channels=2, seed=4))
    assert not np.array_equal(samples, signals.noise(rms=0.1, channels=2, seed=5))


def test_dither_noise_of_sixteen_bits_is_at_its_known_level() -> None:
    # Source: arithmetic; triangular dither and rounding leave step/2 RMS: -96.3 dB re 1.0 at 16 bits.
    error = signals.quantised(signals.tone(hz=997), 16, dither_seed=1) - signals.tone(hz=997)

    assert 20 * np.log10(error.std()) == pytest.approx(-96.3, abs=0.1)


def test_silence_and_offsets_are_what_they_are() -> None:
    assert not signals.silence(channels=2).any()
    assert level_dbfs(signals.constant(0.01)) == pytest.approx(-40)
