"""What one pass gathers, whatever the size of the blocks it comes in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.features.feature_arrays import MAX_MUSIC_S, Features, MusicFeatures, mix_down
from tests.analysis.playing import RATE_HZ, band, features_of, placed, pluck


def gathered(samples: NDArray[np.float64], rate_hz: int, block: int) -> Features:
    music = MusicFeatures(rate_hz, samples.shape[1])
    for start in range(0, len(samples), block):
        music.add(samples[start : start + block])
    return music.finish()


@pytest.mark.parametrize("block", [997, 4_800, 96_000])
def test_the_size_of_the_blocks_makes_no_difference(block: int) -> None:
    samples = band(0.4 + np.arange(13) * 0.5)

    whole, parts = gathered(samples, RATE_HZ, len(samples)), gathered(samples, RATE_HZ, block)

    assert parts.onset_strength == pytest.approx(whole.onset_strength, abs=1e-4)
    assert parts.chroma == pytest.approx(whole.chroma, abs=1e-3)
    assert parts.fine.times_s == pytest.approx(whole.fine.times_s, abs=1e-4)
    assert parts.sharp.times_s == pytest.approx(whole.sharp.times_s, abs=1e-9)


def test_survives_saving(tmp_path: Path) -> None:
    features = features_of(band(0.4 + np.arange(9) * 0.5))

    features.save(tmp_path / "f.npz")
    again = Features.load(tmp_path / "f.npz")

    assert again.sample_rate_hz == features.sample_rate_hz
    assert np.array_equal(again.onset_strength, features.onset_strength)
    assert np.array_equal(again.fine.times_s, features.fine.times_s)
    assert np.array_equal(again.sharp.peak, features.sharp.peak)


@pytest.mark.parametrize("rate_hz", [8_000, 22_050, 44_100, 96_000, 192_000])
def test_sharp_onsets_are_placed_to_the_sample_at_any_rate(rate_hz: int) -> None:
    samples = np.zeros((3 * rate_hz, 1))
    frames = [round(second * rate_hz) for second in (0.5, 1.123, 2.4567)]
    for frame in frames:
        time = np.arange(int(0.02 * rate_hz)) + 0.5
        samples[frame : frame + len(time), 0] = 0.5 * np.sin(2 * np.pi * time / 8) * np.exp(-time / (0.004 * rate_hz))

    found = gathered(samples, rate_hz, rate_hz).sharp.times_s * rate_hz

    assert found == pytest.approx(frames, abs=1)


def test_fine_onsets_lie_within_a_millisecond_and_a_half_of_an_attack() -> None:
    times = np.array([0.5, 1.0123, 1.7777, 2.5])

    features = features_of(placed([(time, pluck(24)) for time in times], 3.5))

    attacks = features.fine.times_s[(features.fine.band == 0) & (features.fine.strength > 0.3)]
    assert attacks == pytest.approx(times, abs=0.0015)


def test_harmony_names_the_pitch_classes_that_sound() -> None:
    # Semitones count from a C: a C major chord.
    chord = sum(pluck(tone, seconds=2.0) for tone in (24, 28, 31))

    features = features_of(placed([(0.2, np.asarray(chord))], 2.5))

    assert set(np.argsort(features.chroma[10:30].sum(axis=0))[-3:]) == {0, 4, 7}


def test_an_inverted_channel_does_not_silence_the_file() -> None:
    left = band(0.4 + np.arange(5) * 0.5)

    assert np.abs(mix_down(np.concatenate([left, -left], axis=1))).max() > 0.1


def test_memory_is_bounded_by_the_longest_music() -> None:
    music = MusicFeatures(8_000, 1)
    minute = np.zeros((60 * 8_000, 1), np.float32)
    for _ in range(int(MAX_MUSIC_S / 60) + 3):
        music.add(minute)

    features = music.finish()

    assert features.duration_s == MAX_MUSIC_S + 180
    assert len(features.energy_1ms) <= MAX_MUSIC_S * features.energy_rate_hz + 10


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_damaged_samples_leave_finite_features(value: float) -> None:
    samples = band(0.4 + np.arange(5) * 0.5)
    samples[1000:1010] = value

    features = features_of(samples)

    assert np.isfinite(features.onset_strength).all()
    assert np.isfinite(features.band_energy_db).all()
