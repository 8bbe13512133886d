"""The copy for the browser: the same sound, the same length, the same bytes each time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.media.proxy import write_proxy
from tests import signals

SIXTEEN_BIT_STEP = 2**-15


def write(path: Path, samples: np.ndarray, rate_hz: int = 44_100, subtype: str = "PCM_24") -> Path:
    soundfile.write(path, samples, rate_hz, format="WAV", subtype=subtype)
    return path


@pytest.mark.parametrize(("channels", "rate_hz"), [(1, 44_100), (2, 48_000), (2, 96_000)])
def test_keeps_rate_channels_and_every_frame(tmp_path: Path, channels: int, rate_hz: int) -> None:
    samples = signals.tone(sample_rate_hz=rate_hz, duration_s=3.3, channels=channels)
    source = write(tmp_path / "mix", samples, rate_hz)
    write_proxy(source, tmp_path / "proxy.flac")

    info = soundfile.info(tmp_path / "proxy.flac")
    assert (info.format, info.subtype, info.samplerate, info.channels) == ("FLAC", "PCM_16", rate_hz, channels)
    assert info.frames == round(3.3 * rate_hz)


def test_dither_stays_within_two_steps_and_has_the_noise_it_should(tmp_path: Path) -> None:
    """Triangular dither two steps wide and rounding: error power (1/6 + 1/12) of a step squared (arithmetic)."""
    samples = signals.noise(duration_s=5.0, channels=2, rms=0.1)
    source = write(tmp_path / "mix", samples)
    write_proxy(source, tmp_path / "proxy.flac")

    error = soundfile.read(tmp_path / "proxy.flac")[0] - soundfile.read(source)[0]
    assert np.abs(error).max() <= 1.5 * SIXTEEN_BIT_STEP
    assert np.sqrt(np.mean(error**2)) == pytest.approx(0.5 * SIXTEEN_BIT_STEP, rel=0.01)


def test_sixteen_bits_are_copied_exactly(tmp_path: Path) -> None:
    source = write(tmp_path / "mix", signals.noise(duration_s=2.0, channels=2), subtype="PCM_16")
    write_proxy(source, tmp_path / "proxy.flac")

    copy, original = (soundfile.read(path, dtype="int16")[0] for path in (tmp_path / "proxy.flac", source))
    assert np.array_equal(copy, original)


def test_what_lies_over_full_scale_is_held_at_it_and_does_not_wrap(tmp_path: Path) -> None:
    source = write(tmp_path / "mix", np.array([[1.5], [-1.5], [0.0]] * 1_000), subtype="FLOAT")
    write_proxy(source, tmp_path / "proxy.flac")

    words = soundfile.read(tmp_path / "proxy.flac", dtype="int16")[0]
    assert (words.max(), words.min()) == (32_767, -32_768)


def test_made_again_it_is_the_same_file(tmp_path: Path) -> None:
    source = write(tmp_path / "mix", signals.noise(duration_s=2.0))
    for name in ("one", "two"):
        write_proxy(source, tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
