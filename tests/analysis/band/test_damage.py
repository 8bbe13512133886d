from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.band import damage
from tests.signals import constant, noise, tone


def sound(channels: int = 2) -> damage.Sound:
    return noise(rms=0.1, duration_s=0.5, channels=channels, seed=3).astype(np.float32)


def test_clipping_by_three_decibels_cuts_at_full_scale() -> None:
    wave = tone(hz=997, amplitude=0.5).astype(np.float32)
    spoilt = damage.clip(wave, over_db=3)

    assert spoilt.max() == pytest.approx(1, abs=2**-22)
    assert spoilt.min() == -1
    # Source: arithmetic; a sine 3 dB over full scale is beyond it 49.9 % of the time (1 - 2 asin(1/1.4125)/pi).
    assert np.mean(np.abs(spoilt) > 0.999_999) == pytest.approx(0.499, abs=0.002)


def test_turning_down_moves_flat_tops_below_full_scale() -> None:
    clipped = damage.turn_down(damage.clip(sound(), over_db=6), by_db=6.0206)

    assert np.abs(clipped).max() == pytest.approx(0.5, abs=1e-5)


@pytest.mark.parametrize("frames", [1, 133, 5_000, -1, -250])
def test_a_late_start_moves_every_frame_and_keeps_the_length(frames: int) -> None:
    before = sound()
    after = damage.start_late(before, frames=frames)

    assert after.shape == before.shape
    if frames > 0:
        assert not after[:frames].any()
        assert np.array_equal(after[frames:], before[:-frames])
    else:
        assert not after[frames:].any()
        assert np.array_equal(after[:frames], before[-frames:])


def test_an_offset_is_added_to_every_frame() -> None:
    assert damage.add_dc(constant(0.0).astype(np.float32), offset=0.01) == pytest.approx(0.01)


def test_one_channel_is_inverted_or_silent_and_the_other_untouched() -> None:
    before = sound()

    assert np.array_equal(damage.invert(before, channel=1), before * np.array([1, -1], np.float32))
    assert np.array_equal(damage.silence_side(before, channel=0), before * np.array([0, 1], np.float32))


def test_a_dropout_is_silence_of_its_length() -> None:
    before = sound()
    after = damage.drop_out(before, start_frame=900, frames=64)

    assert not after[900:964].any()
    assert np.array_equal(np.delete(after, np.s_[900:964], 0), np.delete(before, np.s_[900:964], 0))


def test_a_stutter_plays_a_block_twice() -> None:
    after = damage.stutter(sound(), start_frame=1_000, frames=256)

    assert np.array_equal(after[1_000:1_256], after[1_256:1_512])


def test_padded_bits_leave_the_lowest_eight_of_a_24_bit_file_empty(tmp_path: Path) -> None:
    path = tmp_path / "padded.wav"
    soundfile.write(path, damage.pad_bits(sound()), 48_000, subtype="PCM_24")
    codes, _ = soundfile.read(path, dtype="int32")

    # soundfile reads 24 bits into the upper bytes of 32: 16 significant bits leave 16 zeros below.
    assert not (codes & 0xFFFF).any()
    assert (codes & 0x1_0000).any()


@pytest.mark.parametrize(("from_hz", "to_hz"), [(48_000, 44_100), (44_100, 48_000), (48_000, 96_000)])
def test_resampling_keeps_pitch_level_and_place(from_hz: int, to_hz: int) -> None:
    before = tone(hz=1_000, amplitude=0.5, duration_s=1, sample_rate_hz=from_hz).astype(np.float32)
    after = damage.resample(before, from_hz=from_hz, to_hz=to_hz)

    expected = tone(hz=1_000, amplitude=0.5, duration_s=1, sample_rate_hz=to_hz)
    assert after.shape == expected.shape
    assert np.abs(after - expected)[1_000:-1_000].max() < 0.002


def test_a_truncated_file_still_promises_all_of_it(tmp_path: Path) -> None:
    path = tmp_path / "cut.wav"
    soundfile.write(path, sound(), 48_000, subtype="PCM_24")
    whole = path.stat().st_size
    damage.truncate_file(path, keep=0.6)

    assert path.stat().st_size == int(whole * 0.6)
    header = path.read_bytes()[:256]
    data_at = header.index(b"data") + 4
    assert int.from_bytes(header[data_at : data_at + 4], "little") == 24_000 * 2 * 3
