"""Bar lines become as few segments as hold them all."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest

from analysis.bars.layout import Layout
from analysis.bars.map_fit import segments_through
from analysis.core.samples import Doubles


def layout_of(downbeats_s: Sequence[float] | Doubles, bar_beats: tuple[int, ...] = ()) -> Layout:
    times = np.asarray(downbeats_s, np.float64)
    return Layout(times, times, float(times[0]), 0.0, 0, bar_beats)


def test_a_steady_song_is_one_segment() -> None:
    (segment,) = segments_through(layout_of(1 + 2.0 * np.arange(40, dtype=np.float64)), sign="4/4", tolerance_s=0.01)

    assert (segment.bar, segment.time_s, segment.bpm, segment.meter) == (1, 1.0, 120.0, "4/4")


def test_a_change_of_tempo_begins_a_segment_on_its_bar_line() -> None:
    lines = np.concatenate([2.0 * np.arange(8), 16 + 2.5 * np.arange(8)])

    first, second = segments_through(layout_of(lines), sign="4/4", tolerance_s=0.01)

    assert (first.bar, first.bpm) == (1, 120.0)
    assert (second.bar, second.time_s, second.bpm) == (9, 16.0, 96.0)


def test_every_bar_line_of_a_drift_is_within_the_tolerance() -> None:
    lines = np.cumsum(2 + 0.1 * np.sin(np.arange(60) / 8))

    segments = segments_through(layout_of(lines), sign="4/4", tolerance_s=0.01)

    assert 2 < len(segments) < 40
    for segment, following in pairwise(segments):
        inside = np.arange(segment.bar, following.bar)
        drawn = segment.time_s + (inside - segment.bar) * 4 * 60 / segment.bpm
        assert drawn == pytest.approx(lines[inside - 1], abs=0.0101)


def test_known_changes_alone_begin_segments() -> None:
    scattered = 2.0 * np.arange(12, dtype=np.float64) + np.where(np.arange(12) % 2, 0.02, 0.0)

    segments = segments_through(layout_of(scattered), sign="4/4", tolerance_s=0.001, changes_s=np.array([12.03]))

    assert [segment.bar for segment in segments] == [1, 7]


def test_an_odd_bar_is_a_segment_of_its_own() -> None:
    lines = np.cumsum([0.0, 2.0, 2.0, 3.0, 2.0, 2.0])

    segments = segments_through(layout_of(lines, (2, 2, 3, 2, 2)), sign="6/8", tolerance_s=0.001)

    assert [(segment.bar, segment.meter) for segment in segments] == [(1, "6/8"), (3, "9/8"), (4, "6/8")]
    assert {segment.bpm for segment in segments} == {60.0}


def test_less_than_a_bar_is_no_map() -> None:
    assert segments_through(layout_of([3.0]), sign="4/4", tolerance_s=0.01) == ()
