from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.core.samples import Samples
from analysis.levels.mixdown import write_mixdown
from analysis.sandbox.mixdown_child import write_mixdown_in_child
from tests import signals

RATE_HZ = 48_000
# 16 bits of FLAC round to half a step of 2 ** -15.
ONE_STEP = 2.0**-15


def written(folder: Path, name: str, samples: Samples, rate_hz: int = RATE_HZ) -> Path:
    path = folder / name
    soundfile.write(path, samples, rate_hz, "FLOAT")
    return path


def test_files_are_summed_as_they_are_mono_on_both_sides(tmp_path: Path) -> None:
    """Powers of two and their sums are exact in 16 bits; more frames than one block."""
    mono = np.full((200_000, 1), 0.25)
    stereo = np.tile([[0.125, -0.5]], (100_000, 1))
    paths = [written(tmp_path, "mono.wav", mono), written(tmp_path, "stereo.wav", stereo)]
    done = write_mixdown(paths, tmp_path / "sum.flac", sample_rate_hz=RATE_HZ)

    samples, rate_hz = soundfile.read(tmp_path / "sum.flac", always_2d=True)
    assert (done.frames, done.gain_db, rate_hz, samples.shape) == (200_000, 0.0, RATE_HZ, (200_000, 2))
    np.testing.assert_array_equal(samples[:100_000], np.tile([[0.375, -0.25]], (100_000, 1)))
    np.testing.assert_array_equal(samples[100_000:], np.full((100_000, 2), 0.25))


def test_a_sum_over_the_ceiling_is_lowered_as_a_whole_to_it(tmp_path: Path) -> None:
    """Three files at 0.5 add up to 1.5; -1 dBFS is 0.891251: 20 lg(0.891251 / 1.5) = -4.52 dB."""
    paths = [written(tmp_path, f"{name}.wav", np.full((1_000, 2), 0.5)) for name in "abc"]
    done = write_mixdown(paths, tmp_path / "sum.flac", sample_rate_hz=RATE_HZ)
    samples, _ = soundfile.read(tmp_path / "sum.flac", always_2d=True)
    assert done.gain_db == pytest.approx(-4.52, abs=0.005)
    assert np.abs(samples - 10 ** (-1 / 20)).max() <= ONE_STEP


def test_a_file_at_another_rate_keeps_its_place_and_its_level(tmp_path: Path) -> None:
    """A click at 0.5 s of 44.1 kHz lies at frame 24000 of 48 kHz; soxr moves nothing."""
    samples = np.zeros((44_100, 1))
    samples[22_050] = 0.9
    done = write_mixdown([written(tmp_path, "c.wav", samples, 44_100)], tmp_path / "s.flac", sample_rate_hz=RATE_HZ)
    mixed, _ = soundfile.read(tmp_path / "s.flac", always_2d=True)
    assert int(np.argmax(np.abs(mixed[:, 0]))) == 24_000
    assert done.frames == 48_000


def test_loudness_is_that_of_the_standard_and_silence_has_none(tmp_path: Path) -> None:
    """EBU Tech 3341, case 1: a stereo sine of 1 kHz at -23 dBFS in each channel reads -23.0 LUFS, within 0.1 LU."""
    tone = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1_000 * np.arange(20 * RATE_HZ) / RATE_HZ)
    paths = [written(tmp_path, "left-and-right.wav", tone[:, None])]
    loud = write_mixdown_in_child(paths, tmp_path / "s.flac", sample_rate_hz=RATE_HZ)
    assert not isinstance(loud, str)
    assert loud.loudness_lufs == pytest.approx(-23.0, abs=0.1)
    silent = write_mixdown(
        [written(tmp_path, "silent.wav", signals.silence(duration_s=1.0))], tmp_path / "n.flac", sample_rate_hz=RATE_HZ
    )
    assert silent.loudness_lufs is None
