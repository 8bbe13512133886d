"""Strokes heard at known distances and the other way round."""

import numpy as np

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
