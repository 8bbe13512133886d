"""No standard defines a dropout: house choice, and above all no false alarms."""

import numpy as np
import pytest

from analysis.core.blocks import Block
from analysis.core.reports import Dropout
from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.levels.dropouts import DropoutMeter, runs
from tests import signals


def dropouts(samples: Samples, *, bits: int = 24, block_frames: int = 65_536) -> tuple[Dropout, ...]:
    meter = DropoutMeter(48_000, samples.shape[1], bit_depth=bits, limits=Limits())
    for start in range(0, len(samples), block_frames):
        meter.add(Block(samples[start : start + block_frames], start))
    return meter.finish()


def music(channels: int = 2) -> Samples:
    return signals.noise(rms=0.1, duration_s=4.0, channels=channels) + signals.tone(
        hz=220.0, amplitude=0.2, duration_s=4.0, channels=channels
    )


@pytest.mark.parametrize("block_frames", [16_384, 65_536])
@pytest.mark.parametrize("frames", [64, 512, 4_096])
@pytest.mark.parametrize("start", [65_000, 65_536, 100_000])
def test_a_lost_buffer_is_a_hole(start: int, frames: int, block_frames: int) -> None:
    samples = music()
    samples[start : start + frames] = 0.0

    (found,) = dropouts(samples, block_frames=block_frames)
    assert (found.kind, found.start_s, found.duration_s) == ("hole", start / 48_000, frames / 48_000)


@pytest.mark.parametrize("size", [64, 256, 1_024, 2_048])
def test_a_buffer_played_twice(size: int) -> None:
    samples = music()
    samples[70_000 + size : 70_000 + 2 * size] = samples[70_000 : 70_000 + size]

    (found,) = dropouts(samples)
    assert (found.kind, found.start_s) == ("repeat", (70_000 + size) / 48_000)


def test_a_stuck_value() -> None:
    samples = music()
    samples[70_000:70_200] = 0.05

    (found,) = dropouts(samples)
    assert found.kind == "stuck"
    assert found.start_s == pytest.approx(70_000 / 48_000, abs=1 / 48_000)


def test_many_holes_are_all_found() -> None:
    samples = music()
    for start in range(20_000, 180_000, 20_000):
        samples[start : start + 256] = 0.0

    assert len(dropouts(samples)) == 8


def gated() -> Samples:
    """Notes with rests of digital silence and short fades, as an edited stem has."""
    samples = music()
    fade = np.minimum(np.arange(24_000) / 240.0, 1.0) * np.minimum(np.arange(24_000)[::-1] / 240.0, 1.0)
    fade[20_000:] = 0.0
    return np.asarray(samples * np.tile(fade, 8)[:, None])


def ends_hard() -> Samples:
    samples = music()
    samples[90_000:] = 0.0
    return samples


@pytest.mark.parametrize(
    "samples",
    [
        music(),
        gated(),
        ends_hard(),
        signals.silence(duration_s=2.0),
        signals.tone(hz=375.0, duration_s=4.0),  # a period of 128 frames
        signals.quantised(signals.tone(hz=48_000 / 64, duration_s=4.0), 16),
        np.where(signals.tone(hz=93.75, duration_s=4.0) >= 0, 0.3, -0.3),  # a pulse: 256 equal frames
        signals.clipped_tone(hz=40.0, over_db=12.0, duration_s=4.0),
        signals.quantised(signals.full_scale_low_sine(20.0), 16),
        np.tile(signals.noise(duration_s=0.5), (8, 1)),  # a loop
        signals.constant(0.2, duration_s=2.0),
    ],
    ids=[
        "music",
        "gated",
        "hard end",
        "silence",
        "tone",
        "16 bits",
        "pulse",
        "clipped bass",
        "low sine",
        "loop",
        "offset",
    ],
)
def test_what_is_no_dropout(samples: Samples) -> None:
    assert dropouts(samples) == ()


def test_coarse_steps_are_no_holes() -> None:
    """An 8-bit voice rests at zero for a while at every breath."""
    assert dropouts(signals.quantised(music(1) * 0.05, 8), bits=8) == ()


def test_one_channel_at_rest_is_no_hole() -> None:
    samples = music()
    samples[70_000:70_500, 0] = 0.0

    assert dropouts(samples) == ()


def test_runs() -> None:
    assert runs(np.array([1, 1, 0, 1, 1, 1, 0, 1], bool), 2) == [(0, 2), (3, 6)]
