"""What is written is the samples, bit for bit where they came from such a file, and appears only when it is whole."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.core.samples import Samples
from analysis.media.encoder import create_sound
from tests import signals


def written(path: Path, samples: Samples, bit_depth: int) -> Samples:
    with create_sound(
        path, sample_rate_hz=48_000, channels=samples.shape[1], bit_depth=bit_depth, frames=len(samples)
    ) as sound:
        for start in range(0, len(samples), 10_000):
            sound.write(samples[start : start + 10_000])
    read: Samples = soundfile.read(path, always_2d=True)[0]
    return read


@pytest.mark.parametrize("bit_depth", [16, 24])
def test_samples_of_the_same_depth_are_kept_bit_for_bit(tmp_path: Path, bit_depth: int) -> None:
    samples = signals.quantised(signals.noise(rms=0.3, channels=2), bit_depth)

    assert np.array_equal(written(tmp_path / "stem.wav", samples, bit_depth), samples)


def test_other_samples_are_rounded_and_held_at_full_scale(tmp_path: Path) -> None:
    samples = np.array([[0.4 / 2**15], [0.6 / 2**15], [1.5], [-1.5]])

    assert (written(tmp_path / "stem.wav", samples, 16) * 2**15)[:, 0].tolist() == [0, 1, 2**15 - 1, -(2**15)]


def test_floating_point_keeps_what_lies_over_full_scale(tmp_path: Path) -> None:
    samples = np.array([[1.5], [-3.0]])

    assert np.array_equal(written(tmp_path / "stem.wav", samples, 32), samples)


@pytest.mark.parametrize(("frames", "form"), [(48_000, b"RIFF"), (2**30, b"RF64")])
def test_what_could_pass_four_gibibytes_is_rf64(tmp_path: Path, frames: int, form: bytes) -> None:
    path = tmp_path / "stem.wav"
    with create_sound(path, sample_rate_hz=48_000, channels=2, bit_depth=24, frames=frames) as sound:
        sound.write(np.zeros((10, 2)))

    assert path.read_bytes()[:4] == form
    assert sound.frames == 10


def test_a_file_that_was_broken_off_does_not_appear(tmp_path: Path) -> None:
    def breaks_off() -> None:
        with create_sound(tmp_path / "stem.wav", sample_rate_hz=48_000, channels=1, bit_depth=24, frames=10) as sound:
            sound.write(np.zeros((5, 1)))
            raise RuntimeError

    with pytest.raises(RuntimeError):
        breaks_off()

    assert list(tmp_path.iterdir()) == []


def test_other_depths_are_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(ValueError, match="bit_depth"),
        create_sound(tmp_path / "stem.wav", sample_rate_hz=48_000, channels=1, bit_depth=20, frames=10),
    ):
        pass
