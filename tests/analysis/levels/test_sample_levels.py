import numpy as np
import pytest

from analysis.core.blocks import Block
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.levels.sample_levels import BitMeter, LevelMeter, Levels, channel_fault, sounding_side
from tests import signals


def levels(samples: Samples) -> Levels:
    meter = LevelMeter(samples.shape[1])
    for start in range(0, len(samples), 7_168):
        meter.add(Block(samples[start : start + 7_168], start))
    return meter.finish()


def bits(samples: Samples, bit_depth: int | None, *, is_float: bool = False) -> int | None:
    meter = BitMeter(bit_depth, is_float=is_float)
    meter.add(Block(samples, 0))
    return meter.finish()


def test_mean_of_a_hundredth_is_minus_40_dbfs() -> None:
    samples = signals.tone(duration_s=1.0) + 0.01

    assert 20 * np.log10(levels(samples).dc_offset) == pytest.approx(-40.0, abs=0.1)


def test_offset_keeps_its_sign_and_takes_the_worse_channel() -> None:
    samples = np.concatenate([signals.tone() + 0.001, signals.tone() - 0.02], axis=1)

    assert levels(samples).dc_offset == pytest.approx(-0.02, abs=1e-5)


def test_16_bits_in_a_24_bit_file_use_16() -> None:
    assert bits(signals.quantised(signals.noise(), 16), 24) == 16


def test_24_bits_use_24() -> None:
    assert bits(signals.quantised(signals.noise(), 24), 24) == 24


def test_20_valid_bits_in_a_32_bit_file() -> None:
    assert bits(signals.quantised(signals.noise(), 20), 32) == 20


@pytest.mark.parametrize(("bit_depth", "is_float"), [(32, True), (None, False)], ids=["float", "lossy"])
def test_no_bits_are_counted_where_there_are_none(bit_depth: int | None, is_float: bool) -> None:
    assert bits(signals.noise(), bit_depth, is_float=is_float) is None


def test_silence_uses_no_bits() -> None:
    assert bits(signals.silence(), 24) is None


def stereo(left: Samples, right: Samples) -> Samples:
    return np.concatenate([left, right], axis=1)


LEFT, OTHER = signals.noise(seed=1), signals.noise(seed=2)


@pytest.mark.parametrize(
    ("samples", "fault"),
    [
        (stereo(LEFT, OTHER), None),
        (stereo(LEFT, 0.5 * OTHER + 0.5 * LEFT), None),
        (stereo(LEFT, LEFT), "dual-mono"),
        (stereo(LEFT, LEFT + 1e-5 * OTHER), "dual-mono"),
        (stereo(LEFT, -LEFT), "inverted-channel"),
        (stereo(LEFT, -0.8 * LEFT + 0.1 * OTHER), "inverted-channel"),
        (stereo(LEFT, 0 * OTHER), "one-sided"),
        (stereo(1e-4 * OTHER, LEFT), "one-sided"),
        (LEFT, None),
    ],
    ids=[
        "wide",
        "narrow",
        "equal",
        "nearly equal",
        "opposite",
        "nearly opposite",
        "left only",
        "correctly only",
        "mono",
    ],
)
def test_how_channels_relate(samples: Samples, fault: str | None) -> None:
    assert channel_fault(levels(samples), Limits()) == fault


def test_says_which_side_sounds() -> None:
    assert sounding_side(levels(stereo(0 * LEFT, LEFT))) == "right"


def test_values_that_are_no_numbers_count_and_are_silenced() -> None:
    samples = signals.tone(channels=2)
    samples[1_000, 0], samples[2_000:2_003, 1], samples[5, 1] = np.nan, np.inf, 1e30

    measured = levels(samples)

    assert (measured.bad_values, measured.first_bad_frame) == (5, 5)
    assert measured.peak == pytest.approx(0.5, abs=0.01)
