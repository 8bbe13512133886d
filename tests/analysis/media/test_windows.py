"""Which stretches are looked at, and what is read there."""

from pathlib import Path

import numpy as np
import pytest

from analysis.core.blocks import Block
from analysis.media.windows import Activity, ActivityMeter, activity_of, choose_windows, mixed_window, read_window
from tests import signals
from tests.analysis.encoded import write_sound

RATE_HZ = 48_000


def plays_from_to(start: int, end: int, *, seconds: int = 60) -> Activity:
    powers = np.zeros(seconds)
    powers[start:end] = 0.5
    return activity_of(powers)


def test_activity_is_power_by_the_second_as_a_share_of_the_loudest() -> None:
    meter = ActivityMeter(RATE_HZ)
    for second, level in enumerate((0.0, 0.5, 0.25)):
        meter.add(Block(signals.constant(level), second * RATE_HZ))

    assert meter.finish().share.tolist() == [0.0, 1.0, 0.25]


def test_silence_is_never_active() -> None:
    assert activity_of(np.zeros(3)).share.tolist() == [0.0, 0.0, 0.0]


def test_one_stretch_is_where_all_play() -> None:
    files = [plays_from_to(0, 30), plays_from_to(20, 60)]

    assert choose_windows(files, window_s=10, most=1) == (20.0,)


def test_files_that_never_play_together_have_a_stretch_each() -> None:
    files = [plays_from_to(0, 10), plays_from_to(30, 40), plays_from_to(50, 60)]

    assert choose_windows(files, window_s=10, most=5)[:1] == (0.0,)
    assert set(choose_windows(files, window_s=10, most=5)) == {0.0, 30.0, 50.0}


def test_without_sound_there_is_nothing_to_look_at() -> None:
    assert choose_windows([], window_s=10, most=5) == ()
    assert choose_windows([activity_of(np.zeros(30))], window_s=10, most=5) == ()


@pytest.mark.parametrize("file_rate_hz", [44_100, 48_000, 96_000])
def test_a_window_is_the_file_s_sound_at_the_wanted_rate(tmp_path: Path, file_rate_hz: int) -> None:
    samples = signals.tone(hz=440.0, duration_s=4.0, sample_rate_hz=file_rate_hz, channels=2)
    path = write_sound(tmp_path / "stem.wav", samples, file_rate_hz)

    window = read_window(path, 1.0, RATE_HZ, RATE_HZ)

    inner = slice(RATE_HZ // 5, -RATE_HZ // 5)
    assert window[inner] == pytest.approx(signals.tone(hz=440.0)[inner, 0], abs=0.002)
    assert np.abs(window[[0, -1]]).max() < 0.001


def test_after_the_end_of_the_file_there_is_silence(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "stem.wav", signals.tone(duration_s=1.0))

    window = read_window(path, 0.5, RATE_HZ, RATE_HZ)

    assert np.abs(window[: RATE_HZ // 4]).max() > 0.4
    assert np.abs(window[RATE_HZ // 2 :]).max() == 0.0


def test_a_wrong_label_can_be_put_right(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "stem.wav", signals.tone(hz=440.0, duration_s=4.0), 44_100)

    window = read_window(path, 1.0, RATE_HZ, RATE_HZ, played_at_hz=48_000)

    inner = slice(RATE_HZ // 5, -RATE_HZ // 5)
    assert window[inner] == pytest.approx(signals.tone(hz=440.0)[inner, 0], abs=0.002)


def test_channels_that_cancel_are_read_from_the_first(tmp_path: Path) -> None:
    left = signals.tone(duration_s=2.0)
    path = write_sound(tmp_path / "stem.wav", np.concatenate([left, -left], axis=1))

    assert np.abs(read_window(path, 0.5, RATE_HZ, RATE_HZ)).max() > 0.4


def test_files_are_summed(tmp_path: Path) -> None:
    paths = [write_sound(tmp_path / f"{name}.wav", signals.constant(0.2, duration_s=2.0)) for name in "ab"]

    assert mixed_window(paths, 0.5, RATE_HZ, RATE_HZ)[RATE_HZ // 2] == pytest.approx(0.4, abs=1e-6)
