"""Bar one where the house wants it: to the frame, bit for bit where nothing has to change."""

from pathlib import Path

import numpy as np
import pytest

from analysis.core.errors import MapError
from analysis.core.samples import Samples
from analysis.delivery.conform import conform_files
from analysis.lineup.correlation import find_offset
from analysis.maps.tempo_map import TempoMap
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import write_sound

# 112 BPM in 4/4: a bar is 15/7 s, 102 857.14 frames at 48 kHz.
MAP = TempoMap.constant("112", "4/4", bar_one_s=0.5)


def read(path: Path) -> Samples:
    with open_media(path) as media:
        return np.concatenate([block.copy() for block in media.blocks()])


def music(duration_s: float = 2.0, seed: int = 0, sample_rate_hz: int = 48_000) -> Samples:
    """Silent up to bar one."""
    samples = signals.quantised(signals.noise(duration_s=duration_s, seed=seed, sample_rate_hz=sample_rate_hz), 24)
    samples[: sample_rate_hz // 2] = 0.0
    return samples


@pytest.mark.parametrize(
    ("start_bar", "shift_frames"),
    [(1, -24_000), (2, 102_857 - 24_000), (3, 205_714 - 24_000)],
)
def test_moves_bar_one_to_the_start_bar(tmp_path: Path, start_bar: int, shift_frames: int) -> None:
    samples = {"bass": music(), "keys": music(seed=1)}
    paths = [write_sound(tmp_path / f"{name}.wav", sound) for name, sound in samples.items()]
    report = conform_files(paths, tmp_path / "out", tempo_map=MAP, start_bar=start_bar)

    assert report.bar_one_frame == shift_frames + 24_000
    for name, sound in samples.items():
        conformed = read(tmp_path / "out" / f"{name}.wav")
        kept = sound[max(0, -shift_frames) :]
        assert len(conformed) == report.frames == 96_000 + shift_frames
        assert np.array_equal(conformed[max(0, shift_frames) :], kept)
        assert not conformed[: max(0, shift_frames)].any()


def test_short_files_are_filled_up_with_silence(tmp_path: Path) -> None:
    paths = [write_sound(tmp_path / "bass.wav", music(2.0)), write_sound(tmp_path / "keys.wav", music(1.0))]
    report = conform_files(paths, tmp_path / "out", tempo_map=MAP, start_bar=2)

    lengths = {len(read(tmp_path / "out" / name)) for name in ("bass.wav", "keys.wav")}
    assert lengths == {report.frames}


@pytest.mark.parametrize(("depth", "worst"), [(16, 2.0**-16), (24, 0.0), (32, 0.0)])
def test_depths(tmp_path: Path, depth: int, worst: float) -> None:
    sound = music()
    conform_files(
        [write_sound(tmp_path / "bass.wav", sound)], tmp_path / "out", tempo_map=MAP, start_bar=1, bit_depth=depth
    )

    with open_media(tmp_path / "out" / "bass.wav") as media:
        assert media.facts.bit_depth == depth
    assert np.abs(read(tmp_path / "out" / "bass.wav") - sound[24_000:]).max() <= worst


def test_another_rate_is_converted_without_moving(tmp_path: Path) -> None:
    """The same tone at 44.1 and 48 kHz, windowed: equal to the converter's accuracy and not a frame apart."""
    time = np.arange(88_200) / 44_100
    wave = np.where(time < 0.5, 0.0, np.sin(2 * np.pi * 440.0 * time) * np.minimum((time - 0.5) * 20, 1.0) * 0.5)
    path = write_sound(tmp_path / "bass.wav", wave[:, None], 44_100)
    report = conform_files([path], tmp_path / "out", tempo_map=MAP, start_bar=1)

    fine = (np.arange(report.frames) + 24_000) / 48_000
    wanted = (np.sin(2 * np.pi * 440.0 * fine) * np.minimum((fine - 0.5) * 20, 1.0) * 0.5)[:, None]
    converted = read(tmp_path / "out" / "bass.wav")
    assert report.files[0].resampled
    assert report.frames == 96_000 - 24_000
    inside = slice(2_000, -2_000)
    assert np.abs(converted[inside] - wanted[inside]).max() < 1e-3
    offset = find_offset(wanted, converted, 48_000, longest_lag_frames=100)
    assert offset is not None
    assert offset.lag_frames == 0


def test_music_is_never_cut_off(tmp_path: Path) -> None:
    """A pickup lies before bar one: with bar one at the very start it would be lost."""
    sound = music()
    sound[20_000:24_000] = 0.1
    path = write_sound(tmp_path / "lead.wav", sound)

    with pytest.raises(MapError, match="later start bar"):
        conform_files([path], tmp_path / "out", tempo_map=MAP, start_bar=1)
    assert not (tmp_path / "out" / "lead.wav").exists()


def test_names_become_safe_and_stay_distinct(tmp_path: Path) -> None:
    paths = [write_sound(tmp_path / name, music()) for name in ("bass gtr.wav", "bass_gtr.wav", "bass?gtr.aiff")]
    report = conform_files(paths, tmp_path / "out", tempo_map=MAP)

    assert [item.out for item in report.files] == ["bass_gtr.wav", "bass_gtr_2.wav", "bass_gtr_3.wav"]
