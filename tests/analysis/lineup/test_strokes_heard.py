"""Strokes heard at known distances and the other way round."""

import numpy as np
import pytest

from analysis.core.samples import Floats
from analysis.lineup.strokes_heard import strokes_heard, strokes_of


def strokes() -> Floats:
    track = np.random.default_rng(1).standard_normal(96_000) * np.exp(-(np.arange(96_000) % 24_000) / 1_000)
    return np.roll(track, 6_000).astype(np.float32)


def test_finds_the_strokes() -> None:
    assert sorted(int(frame) // 24_000 for frame in strokes_of(strokes(), 48_000)) == [0, 1, 2, 3]


def test_lag_and_polarity() -> None:
    track = strokes()
    rows = np.stack([track, np.roll(track, 133) * 0.5, -np.roll(track, 560) * 0.2, np.zeros_like(track)])

    heard = strokes_heard([rows], 0, 48_000, longest_lag_frames=2_400)

    assert [(one.lag_frames, one.polarity) for one in heard if one] == [(0, 1), (133, 1), (560, -1)]
    assert heard[3] is None


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("between", [0.3, 0.5, 0.7])
def test_polarity_between_two_samples(sign: int, between: float) -> None:
    """A cymbal's autocorrelation swings to -2/3 within a sample (noise differentiated twice: arithmetic of 1, -2, 1).
    Late by a fraction of a sample its highest sample may be of the other sign."""
    bright = np.diff(strokes(), 2, prepend=[0, 0])
    turned = np.fft.rfft(bright) * np.exp(-2j * np.pi * np.fft.rfftfreq(len(bright)) * (850 + between))
    heard = sign * np.fft.irfft(turned, len(bright)).astype(np.float32)
    # A second way, two samples longer, brings the two signs nearer to each other.
    blurred = heard + 0.45 * np.roll(heard, 2)

    (_, other) = strokes_heard([np.stack([bright, blurred])], 0, 48_000, longest_lag_frames=2_400)

    assert other is not None
    assert other.polarity == sign
