import numpy as np
import pytest

from analysis.band.tables import band_noise, cycle, decay, fade_in, harmonics_below, hz_of, read


def test_pitch_sixty_nine_is_440_hz_and_an_octave_doubles() -> None:
    assert hz_of(69) == 440
    assert hz_of(81) == pytest.approx(880)


def test_no_harmonic_passes_half_the_rate() -> None:
    for rate in (8_000, 44_100, 96_000):
        for hz in (41.2, 440.0, 3_000.0):
            count = harmonics_below(hz, rate)
            assert count == 1 or count * hz <= 0.45 * rate


def test_a_table_read_without_interpolation_is_clean_to_sixty_five_decibels() -> None:
    # Source: arithmetic; a step of 1/16384 of a cycle is at most 2 pi / 16384 of a sine's amplitude: -68 dB, RMS -73.
    wave = read(cycle((1.0,)), 441.3, 48_000, 48_000)
    exact = np.sin(2 * np.pi * 441.3 * np.arange(48_000) / 48_000)

    assert np.abs(wave - exact).max() < 2 * np.pi / 16_384 * 1.01


def test_decay_falls_to_one_e_th_in_its_time() -> None:
    assert decay(48_001, 48_000, 0.5)[24_000] == pytest.approx(np.exp(-1), rel=1e-4)


def test_a_fade_rises_over_its_time_only() -> None:
    tone = fade_in(np.ones(4_800, np.float32), 48_000, 0.01)

    assert tone[0] < 1e-4
    assert tone[240] == pytest.approx(0.5, abs=0.01)
    assert (tone[480:] == 1).all()


def test_band_noise_stays_in_its_band_and_has_unit_level() -> None:
    noise = band_noise(48_000, 48_000, 2_000, 4_000, 1)
    power = np.abs(np.fft.rfft(noise)) ** 2

    assert np.sqrt(np.mean(noise**2)) == pytest.approx(1, rel=1e-3)
    assert power[1_000:8_000].sum() > 0.95 * power.sum()
    assert power[:800].sum() + power[9_000:].sum() < 0.01 * power.sum()
