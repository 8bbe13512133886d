"""Bars as a clock: arithmetic of tempo and meter."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.chart_draft import MeterChange
from analysis.core.reports import MapSegment, SongMeasures
from analysis.form.bar_clock import BarClock
from analysis.maps.tempo_map import TempoMap


def two_meters() -> TempoMap:
    """Four bars of 4/4 at 120 BPM last 8 s; then 6/8 at 60 dotted quarters a minute: 2 s a bar."""
    segments = (MapSegment(1, 1.0, 120.0, "4/4"), MapSegment(5, 9.0, 60.0, "6/8"))
    return TempoMap.from_segments(segments)


def test_bars_of_a_map_run_to_the_last_sound() -> None:
    clock = BarClock.from_map(two_meters(), last_sound_s=12.5)

    assert clock.bars == 6
    assert clock.downbeats_s == pytest.approx([1, 3, 5, 7, 9, 11, 13])
    assert clock.meter_changes == (MeterChange(1, "4/4"), MeterChange(5, "6/8"))


def test_a_beat_is_one_in_the_written_unit() -> None:
    """A quarter lasts 0.5 s in 4/4 at 120; an eighth lasts a third of a second in 6/8 at 60 dotted quarters."""
    clock = BarClock.from_map(two_meters(), last_sound_s=12.5)

    assert clock.times_s(0, np.array([1, 2.5, 5])) == pytest.approx([1, 1.75, 3])
    assert clock.times_s(4, np.array([1, 4, 7])) == pytest.approx([9, 10, 11])


def test_a_map_whose_bars_all_differ_in_meter_is_read() -> None:
    signs = ("4/4", "3/4", "2/4", "5/4")
    starts = (0.0, 2.0, 3.5, 4.5)
    segments = [
        MapSegment(bar, start, 120.0, sign) for bar, (start, sign) in enumerate(zip(starts, signs, strict=True), 1)
    ]
    clock = BarClock.from_map(TempoMap.from_segments(segments), last_sound_s=6.9)

    assert [str(sign) for sign in clock.signs] == list(signs)
    assert clock.downbeats_s == pytest.approx([*starts, 7.0])


def test_measured_bars_keep_their_free_passages() -> None:
    song = SongMeasures(
        tempo_map=(MapSegment(1, 0.0, 120.0, "4/4"), MapSegment(3, 4.0, 60.0, "4/4", free=True)),
        downbeats_s=(0.0, 2.0, 4.0, 8.0),
    )
    clock = BarClock.from_song(song)

    assert clock is not None
    assert clock.free.tolist() == [False, False, True]


def test_a_song_without_bars_has_no_clock() -> None:
    assert BarClock.from_song(SongMeasures()) is None


def test_the_first_bars_are_a_clock_too() -> None:
    clock = BarClock.even(np.arange(5.0)).first_bars(2)

    assert (clock.bars, clock.downbeats_s.tolist()) == (2, [0, 1, 2])
