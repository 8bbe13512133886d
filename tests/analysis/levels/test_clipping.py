"""Clipped runs: no standard defines them (house choice); full scale is the rail of the file's own depth."""

import numpy as np
import pytest

from analysis.core.blocks import Block
from analysis.core.reports import Clipped, ClippedRun
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.levels.clipping import ClippingMeter, find_clipped_runs
from tests import signals


def clipped(samples: Samples, *, bits: int = 24, block_frames: int = 65_536, sample_rate_hz: int = 48_000) -> Clipped:
    meter = ClippingMeter(sample_rate_hz, samples.shape[1], bit_depth=bits, limits=Limits())
    for start in range(0, len(samples), block_frames):
        meter.add(Block(samples[start : start + block_frames], start))
    return meter.finish()


def test_reports_the_place_and_length_of_a_run() -> None:
    samples = signals.tone(channels=2, sample_rate_hz=1_000, hz=50.0)
    samples[500:510, 1] = 1.0

    assert find_clipped_runs(samples, 1_000) == (ClippedRun(channel=1, start_s=0.5, duration_s=0.01),)


def test_a_peak_between_the_samples_is_no_clipped_run() -> None:
    """Source: EBU Tech 3341 v4, case 19: true peak +3 dBTP, sample peak -0.03 dBFS."""
    assert clipped(signals.true_peak_tone(signals.TRUE_PEAK_TONES[4])).runs == 0


@pytest.mark.parametrize("gain", [1.0, 0.5], ids=["at the rails", "turned down afterwards"])
@pytest.mark.parametrize("block_frames", [512, 7_168, 65_536])
def test_a_tone_driven_3_db_over(gain: float, block_frames: int) -> None:
    """997 Hz, 48 kHz, 24 bits: 1994 runs of 12 or 13 frames, 23 962 in all (arithmetic), whatever the blocks."""
    found = clipped(signals.clipped_tone() * gain, block_frames=block_frames)

    assert (found.runs, found.frames) == (1_994, 23_962)
    assert found.longest_frames in (12, 13)
    assert found.level_dbfs == pytest.approx(20 * np.log10(gain), abs=0.01)


def test_one_bad_passage_is_one_event() -> None:
    quiet = signals.tone(amplitude=0.1, duration_s=10)
    samples = np.concatenate([quiet, signals.clipped_tone(), quiet, signals.clipped_tone(), quiet])

    events = clipped(samples).events

    assert [(round(event.start_s), round(event.end_s)) for event in events] == [(10, 11), (21, 22)]
    assert sum(event.runs for event in events) == 2 * 1_994


@pytest.mark.parametrize("hz", [20.0, 30.0, 40.0, 55.0, 110.0])
@pytest.mark.parametrize("gain", [1.0, 0.3])
def test_a_low_sine_rounded_to_16_bits_is_not_clipped(hz: float, gain: float) -> None:
    """Its crest rests for up to 5 samples at full scale: rounding, not clipping."""
    samples = signals.quantised(signals.full_scale_low_sine(hz) * gain, 16)

    assert clipped(samples, bits=16).runs == 0


def test_a_low_sine_that_is_clipped_in_16_bits_is_found() -> None:
    samples = signals.clipped_tone(hz=20.0, over_db=3.0, bits=16)

    # A quarter of each period lies above 0.708 of the crest: 600 frames at 20 Hz and 48 kHz, 40 crests in a second.
    found = clipped(samples, bits=16)
    assert found.runs == 40
    assert found.longest_frames == pytest.approx(600, abs=2)


def test_a_wave_of_two_values_below_full_scale_is_a_pulse() -> None:
    pulse = np.where(signals.tone(hz=100.0) >= 0, 0.25, -0.25)

    assert clipped(pulse).runs == 0


def test_a_pulse_at_full_scale_is_clipped() -> None:
    pulse = np.where(signals.tone(hz=100.0) >= 0, 1.0, -1.0)

    assert clipped(pulse).runs > 100


def test_equal_samples_of_a_very_quiet_file_mean_nothing() -> None:
    samples = signals.quantised(signals.noise(rms=2.0 / 32_768), 16)

    assert clipped(samples, bits=16).runs == 0


def test_constant_offset_is_no_clipping() -> None:
    assert clipped(signals.constant(0.5)).runs == 0


def test_a_run_that_lasts_to_the_end_counts() -> None:
    samples = signals.tone(amplitude=0.5)
    samples[-6:] = 0.9

    assert clipped(samples).longest_frames == 6


def test_asks_for_two_dimensions() -> None:
    with pytest.raises(ValueError, match="shape"):
        find_clipped_runs(np.zeros(10), 48_000)
