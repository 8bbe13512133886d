"""One file in the session: to the frame, bit for bit where nothing has to change, and said where something does."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.core.errors import MapError
from analysis.core.samples import Samples
from analysis.lineup.correlation import find_offset
from analysis.maps.tempo_map import TempoMap
from analysis.session.conform import ConformedFile, conform_file
from analysis.session.settings import SessionSettings
from analysis.session.timeline import Timeline, plan_session
from tests import signals
from tests.analysis.encoded import write_encoded, write_sound

# 112 BPM in 4/4: a bar is 15/7 s, 102 857.14 frames at 48 kHz.
MAP = TempoMap.constant("112", "4/4", bar_one_s=0.5)


def music(duration_s: float = 2.0, seed: int = 0, sample_rate_hz: int = 48_000, channels: int = 1) -> Samples:
    """24 bits, silent up to bar one."""
    noise = signals.noise(duration_s=duration_s, seed=seed, sample_rate_hz=sample_rate_hz, channels=channels)
    samples = signals.quantised(noise, 24)
    samples[: sample_rate_hz // 2] = 0.0
    return samples


def conform(path: Path, tmp_path: Path, **settings: int) -> tuple[ConformedFile, Samples, Timeline]:
    chosen = SessionSettings(count_in_bars=0, **settings)  # type: ignore[arg-type]
    timeline = plan_session([path], MAP, chosen)
    (tmp_path / "out").mkdir(exist_ok=True)
    done = conform_file(path, tmp_path / "out" / "x.wav", timeline, name=path.name, out="x.wav")
    samples, rate_hz = soundfile.read(tmp_path / "out" / "x.wav", always_2d=True)
    assert rate_hz == timeline.sample_rate_hz
    assert len(samples) == timeline.frames == done.frames
    return done, samples, timeline


@pytest.mark.parametrize(("start_bar", "shift_frames"), [(1, -24_000), (2, 78_857), (3, 181_714)])
@pytest.mark.parametrize("channels", [1, 2, 6])
def test_what_needs_nothing_is_bit_for_bit_the_same(
    tmp_path: Path, start_bar: int, shift_frames: int, channels: int
) -> None:
    """Bar one at 0, 1 or 2 bars of 102 857.14 frames, less the 24 000 that it has in the file."""
    sound = music(channels=channels)
    path = write_sound(tmp_path / "bass.wav", sound, format="WAVEX" if channels > 2 else "WAV")
    done, samples, _ = conform(path, tmp_path, start_bar=start_bar)

    assert (done.shift_frames, done.resampled, done.dithered, done.channels) == (shift_frames, False, False, channels)
    assert np.array_equal(samples[max(0, shift_frames) :], sound[max(0, -shift_frames) :])
    assert not samples[: max(0, shift_frames)].any()


def test_short_files_are_filled_up_with_silence(tmp_path: Path) -> None:
    paths = [write_sound(tmp_path / "bass.wav", music(2.0)), write_sound(tmp_path / "keys.wav", music(1.0))]
    timeline = plan_session(paths, MAP, SessionSettings())
    for path in paths:
        conform_file(path, tmp_path / f"{path.stem}-out.wav", timeline, name=path.name, out="Keys.wav")

    samples, _ = soundfile.read(tmp_path / "keys-out.wav")
    assert len(samples) == soundfile.info(tmp_path / "bass-out.wav").frames == timeline.frames
    assert not samples[timeline.shift_frames + 48_000 :].any()


def test_fewer_bits_are_dithered_and_silence_stays_silent(tmp_path: Path) -> None:
    """Triangular dither two steps wide, and rounding: off by less than 1.5 steps of 2^-15 (arithmetic)."""
    sound = music()
    done, samples, _ = conform(write_sound(tmp_path / "bass.wav", sound), tmp_path, start_bar=1, bit_depth=16)
    difference = (samples - sound[24_000:]) * 2**15

    assert done.dithered
    assert soundfile.info(tmp_path / "out" / "x.wav").subtype == "PCM_16"
    assert np.abs(difference).max() < 1.5
    # Variance of triangular dither (1/6) and of rounding (1/12), in steps: together 1/4.
    assert np.var(difference) == pytest.approx(0.25, rel=0.02)


def test_dither_leaves_digital_silence_alone(tmp_path: Path) -> None:
    sound = music(3.0)
    sound[72_000:96_000] = 0.0
    _, samples, _ = conform(write_sound(tmp_path / "bass.wav", sound), tmp_path, start_bar=1, bit_depth=16)

    assert not samples[72_000 - 24_000 : 96_000 - 24_000].any()


def test_floating_point_that_fits_the_depth_is_copied(tmp_path: Path) -> None:
    sound = music()
    done, samples, _ = conform(write_sound(tmp_path / "bass.wav", sound, subtype="FLOAT"), tmp_path, start_bar=1)

    assert not done.dithered
    assert np.array_equal(samples, sound[24_000:])


def test_floating_point_over_full_scale_is_held_and_counted(tmp_path: Path) -> None:
    sound = music()
    sound[30_000:30_007] = 1.25
    path = write_sound(tmp_path / "bass.wav", sound, subtype="FLOAT")
    done, samples, _ = conform(path, tmp_path, start_bar=1)
    as_float, floats, _ = conform(path, tmp_path, start_bar=1, bit_depth=32)

    assert (done.held_samples, samples.max()) == (7, 1 - 2.0**-23)
    assert (as_float.held_samples, floats.max()) == (0, 1.25)


def test_what_is_no_number_becomes_silence(tmp_path: Path) -> None:
    sound = music()
    sound[30_000:30_003] = np.nan
    done, samples, _ = conform(write_sound(tmp_path / "b.wav", sound, subtype="FLOAT"), tmp_path, start_bar=1)

    assert done.replaced_samples == 3
    assert not samples[6_000:6_003].any()


@pytest.mark.parametrize("rate_hz", [44_100, 88_200, 96_000])
def test_another_rate_is_converted_without_moving(tmp_path: Path, rate_hz: int) -> None:
    """The same tone at both rates, windowed: equal to the converter's accuracy and not a frame apart."""

    def tone(frames: int, at_hz: int, first: int = 0) -> Samples:
        time = (np.arange(frames) + first) / at_hz
        rise = np.clip((time - 0.5) * 20, 0.0, 1.0)
        wave: Samples = np.sin(2 * np.pi * 440.0 * time) * 0.5 * np.sin(rise * np.pi / 2) ** 2
        return wave[:, None]

    path = write_sound(tmp_path / "bass.wav", tone(2 * rate_hz, rate_hz), rate_hz)
    done, samples, timeline = conform(path, tmp_path, start_bar=1)
    wanted = tone(timeline.frames, 48_000, 24_000)

    assert (done.resampled, done.dithered, timeline.frames) == (True, False, 72_000)
    inside = slice(2_000, -2_000)
    assert 20 * np.log10(np.abs(samples[inside] - wanted[inside]).max() / 0.5) < -120
    offset = find_offset(wanted, samples, 48_000, longest_lag_frames=100)
    assert offset is not None
    assert offset.lag_frames == 0


def test_a_lossy_file_is_decoded_once_and_keeps_its_place(tmp_path: Path) -> None:
    sound = music(3.0)
    path = write_encoded(tmp_path / "mix.m4a", sound, codec="aac")
    done, samples, timeline = conform(path, tmp_path, start_bar=2)
    offset = find_offset(sound, samples[timeline.shift_frames :], 48_000, longest_lag_frames=3_000)

    assert (done.source_bits, done.dithered) == (None, True)
    assert offset is not None
    assert offset.lag_frames == 0


def test_music_is_never_cut_off(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "lead.wav", music(1.0))
    planned = plan_session([path], MAP, SessionSettings(start_bar=1, count_in_bars=0))
    sound = music(1.0)
    sound[20_000:24_000] = 0.1
    write_sound(path, sound)

    with pytest.raises(MapError, match="later start bar"):
        conform_file(path, tmp_path / "out.wav", planned, name="lead.wav", out="out.wav")


def test_a_file_longer_than_planned_is_refused_not_cut(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "lead.wav", music(2.0))
    planned = plan_session([path], MAP, SessionSettings(), lengths_s=[Fraction(1)])

    with pytest.raises(MapError, match="longer"):
        conform_file(path, tmp_path / "out.wav", planned, name="lead.wav", out="out.wav")


def test_made_again_it_is_the_same_file(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "bass.wav", music(sample_rate_hz=44_100), 44_100)
    first, _, _ = conform(path, tmp_path, bit_depth=16)
    second, _, _ = conform(path, tmp_path, bit_depth=16)

    assert first == second
    assert len(first.sha256) == 64
