"""Songs that keep a few tempos exactly: the tempos, and the bar lines at which they change."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.tempo.piecewise_tempo import Counted, fit_piecewise
from tests.analysis.playing import band, measured, song_file

SCATTER_S = 0.006


def played(tempos: list[tuple[int, float]], *, seed: int = 3) -> tuple[NDArray[Any], Counted]:
    """Beat times of (beats, BPM) one after the other from 0.5 s, and attacks on each half beat, scattered."""
    beats_s = 0.5 + np.concatenate(
        [[0.0], np.cumsum(np.repeat([60 / bpm for _, bpm in tempos], [n for n, _ in tempos]))]
    )
    return beats_s, scattered(beats_s, seed=seed)


def scattered(beats_s: NDArray[Any], *, seed: int = 3) -> Counted:
    halves = np.arange(2 * len(beats_s) - 1) / 2
    late_s = np.random.default_rng(seed).normal(0, SCATTER_S, len(halves))
    times_s = np.interp(halves, np.arange(len(beats_s)), beats_s) + late_s
    return Counted(halves, times_s, late_s, np.ones(len(halves)))


@pytest.mark.parametrize(
    "tempos", [[(64, 120.0), (64, 112.0)], [(48, 104.0), (48, 96.0), (40, 84.0)], [(32, 90.0), (32, 94.0), (32, 90.0)]]
)
def test_each_tempo_is_right_to_a_twentieth_and_changes_on_its_bar_line(tempos: list[tuple[int, float]]) -> None:
    beats_s, counted = played(tempos)

    found = fit_piecewise(counted, 4)

    assert found is not None
    assert found.changes == tuple(np.cumsum([beats for beats, _ in tempos])[:-1])
    assert [60 / period_s for period_s in found.periods_s] == pytest.approx([bpm for _, bpm in tempos], abs=0.05)
    assert found.times_of(np.arange(len(beats_s), dtype=float)) == pytest.approx(beats_s, abs=0.004)
    # On the song's own clock all beats are even.
    even_s = found.tempo_between(0, len(beats_s) - 1).clock.to_even(
        found.times_of(np.arange(len(beats_s), dtype=float))
    )
    assert np.ptp(np.diff(even_s)) < 1e-6


def test_one_tempo_has_no_changes() -> None:
    assert fit_piecewise(played([(128, 100.0)])[1], 4) is None


def test_a_swaying_tempo_is_no_row_of_steps() -> None:
    bpm = 120 * (1 + 0.025 * np.sin(2 * np.pi * np.arange(140) / 70))

    assert fit_piecewise(scattered(0.5 + np.cumsum(60 / bpm)), 4) is None


def test_a_song_with_two_changes_is_mapped_in_three_segments() -> None:
    beats_s, _ = played([(48, 120.0), (48, 110.0), (48, 120.0)])

    report = measured(song_file(band(beats_s)))

    segments = report.song.tempo_map
    assert [segment.bar for segment in segments] == [1, 13, 25]
    assert [segment.bpm for segment in segments] == pytest.approx([120, 110, 120], abs=0.1)
    assert [segment.time_s for segment in segments] == pytest.approx([beats_s[0], beats_s[48], beats_s[96]], abs=0.02)
    places = [finding.place.bar for finding in report.findings if finding.code == "tempo-changes"]
    assert places == [13, 25]
