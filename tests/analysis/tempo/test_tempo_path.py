"""A pulse that moves is followed, and locked to the onsets."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.tempo.tempo_path import follow, lock
from tests.analysis.onsets import even_beats, onset_evidence

BPM, DEPTH = 120.0, 0.03


def drifting_beats() -> Doubles:
    """Two minutes around 120 that swing by 3 % up and down once."""
    lengths_s = 60 / (BPM * (1 + DEPTH * np.sin(2 * np.pi * np.arange(240) / 240)))
    return 0.5 + np.concatenate([[0.0], np.cumsum(lengths_s)])


def test_the_path_moves_with_the_tempo() -> None:
    beats_s = drifting_beats()

    path = follow(onset_evidence(beats_s))

    assert path is not None
    true_hz = np.interp(path.times_s, (beats_s[1:] + beats_s[:-1]) / 2, 1 / np.diff(beats_s))
    ratio = path.hz / true_hz
    inside = slice(5, -5)
    assert ratio[inside] == pytest.approx(np.round(np.median(ratio)), rel=0.01)


def test_on_the_locked_clock_the_beats_are_even() -> None:
    beats_s = drifting_beats()
    evidence = onset_evidence(beats_s)
    path = follow(evidence)
    assert path is not None

    even_s = lock(evidence, path).to_even(beats_s)

    count = np.arange(len(even_s))
    off_s = even_s - np.polyval(np.polyfit(count, even_s, 1), count)
    assert np.abs(off_s[8:-8]).max() < 0.03


def test_a_short_song_has_no_path() -> None:
    assert follow(onset_evidence(even_beats(120, 20))) is None
