import numpy as np
import pytest

from analysis.lineup.correlation import find_offset
from tests import signals


@pytest.mark.parametrize("inverted", [False, True])
def test_overhead_and_close_snare(inverted: bool) -> None:
    """0.95 m at 343 m/s and 48 kHz: 133 frames (arithmetic)."""
    pair = signals.overhead_pair(inverted=inverted)
    offset = find_offset(pair.first, pair.second, 48_000, longest_lag_frames=2_400)

    assert offset is not None
    assert offset.lag_frames == pytest.approx(pair.lag_frames, abs=1)
    assert offset.polarity == pair.sign
    assert offset.confidence > 0.9


def test_two_heads_of_a_drum() -> None:
    pair = signals.snare_heads()
    offset = find_offset(pair.first, pair.second, 48_000, longest_lag_frames=2_400)

    assert offset is not None
    assert (offset.lag_frames, offset.polarity) == (20, -1)


@pytest.mark.parametrize("lag_frames", [-48_000, 0, 1, 50_000])
@pytest.mark.parametrize("unrelated", [0.0, 3.0])
def test_in_the_middle_of_unrelated_sound(lag_frames: int, unrelated: float) -> None:
    """The wanted part may be 10 dB under the rest."""
    sound = signals.noise(rms=0.1, duration_s=6.0, seed=1)
    padded = np.pad(sound, ((60_000, 60_000), (0, 0)))
    moved = np.roll(padded, lag_frames, axis=0) + unrelated * signals.noise(
        rms=0.1, duration_s=len(padded) / 48_000, seed=2
    )
    offset = find_offset(padded, moved, 48_000, longest_lag_frames=65_536)

    assert offset is not None
    assert (offset.lag_frames, offset.polarity) == (lag_frames, 1)
    assert offset.confidence > 0.6


@pytest.mark.parametrize("seed", range(5))
def test_unrelated_sound_gives_no_confidence(seed: int) -> None:
    offset = find_offset(
        signals.noise(duration_s=6.0, seed=seed),
        signals.noise(duration_s=6.0, seed=seed + 100),
        48_000,
        longest_lag_frames=65_536,
    )

    assert offset is not None
    assert offset.confidence < 0.3


def test_silence_has_no_offset() -> None:
    assert find_offset(signals.noise(), signals.silence(), 48_000, longest_lag_frames=100) is None
