"""Where beats and bars lie becomes a song's numbers."""

from __future__ import annotations

import numpy as np

from analysis.bars.layout import Layout
from analysis.bars.song_measures import measures_from, no_grid
from analysis.bars.statements import Statements
from analysis.core.reports import MapSegment, Tempo

DOWNBEATS_S = 1.5 + 2.0 * np.arange(5, dtype=np.float64)
LAYOUT = Layout(1.0 + 0.5 * np.arange(18, dtype=np.float64), DOWNBEATS_S, 1.5, 1.0, 0)


def test_a_layout_becomes_numbers_in_frames_and_bars() -> None:
    song = measures_from(
        LAYOUT,
        Tempo(kind="constant", bpm=120.0),
        sign="4/4",
        confidences=(0.9, 0.81234),
        first_sound_s=1.0,
        sample_rate_hz=48_000,
    )

    assert (song.bar_one.time_s, song.bar_one.frame, song.bar_one.pickup_beats) == (1.5, 72_000, 1.0)
    assert (song.meter.confidence, song.bar_one.confidence) == (0.9, 0.8123)
    assert song.tempo_map == (MapSegment(bar=1, time_s=1.5, bpm=120.0, meter="4/4"),)
    assert song.downbeats_s == tuple(DOWNBEATS_S)
    assert song.count_in_bars == 0


def test_nothing_begins_before_the_file() -> None:
    layout = Layout(np.array([-0.01, 0.49]), np.array([-0.01, 1.99]), -0.01, 0.0, 0)

    song = measures_from(
        layout,
        Tempo(kind="constant", bpm=120.0),
        sign="4/4",
        confidences=(1.0, 1.0),
        first_sound_s=0.0,
        sample_rate_hz=48_000,
    )

    assert (song.bar_one.time_s, song.bar_one.frame, song.beats_s[0]) == (0.0, 0, 0.0)


def test_without_a_grid_the_stated_tempo_stands_in_without_confidence() -> None:
    song = no_grid(None, Statements(tempi=((97.0, 12.0),)))

    assert (song.tempo.kind, song.tempo.bpm, song.tempo.source, song.tempo.confidence) == ("none", 97.0, "brief", 0.0)
    assert no_grid(None, Statements()).tempo.bpm is None
