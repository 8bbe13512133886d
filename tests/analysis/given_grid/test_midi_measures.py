"""A MIDI file's map as the song's grid. With sound: `tests/analysis/measuring/test_song.py`."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.samples import Doubles
from analysis.given_grid.midi_measures import with_midi
from analysis.maps.tempo_map import TempoMap
from tests.analysis.onsets import onset_evidence, scattered
from tests.analysis.playing import RATE_HZ

TWO_TEMPI = TempoMap.from_json(
    {
        "segments": [
            {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
            {"bar": 9, "time_s": 16, "bpm": 100, "meter": "4/4"},
        ]
    }
)


def beats_of(tempo_map: TempoMap, bars: int, first_bar: int = 1) -> Doubles:
    places = [(bar, beat) for bar in range(first_bar, first_bar + bars) for beat in range(4)]
    return np.array([float(tempo_map.time_of_bar(bar, beat)) for bar, beat in places])


def test_music_that_lies_on_the_map_takes_its_segments() -> None:
    song = with_midi(TWO_TEMPI, onset_evidence(scattered(0.002 + beats_of(TWO_TEMPI, 20), 0.004)), RATE_HZ)

    assert song is not None
    assert (song.tempo.kind, song.tempo.source, song.tempo.bpm_low, song.tempo.bpm_high) == ("map", "midi", 100, 120)
    assert [(one.bar, one.time_s, one.bpm) for one in song.tempo_map] == [(1, 0.0, 120.0), (9, 16.0, 100.0)]


def test_segments_are_counted_from_the_bar_in_which_the_band_comes_in() -> None:
    song = with_midi(TWO_TEMPI, onset_evidence(beats_of(TWO_TEMPI, 18, first_bar=3)), RATE_HZ)

    assert song is not None
    assert song.bar_one.time_s == pytest.approx(4.0)
    assert [(one.bar, one.time_s) for one in song.tempo_map] == [(1, 4.0), (7, 16.0)]


def test_one_tempo_is_exact() -> None:
    tempo_map = TempoMap.constant("93.7")

    song = with_midi(tempo_map, onset_evidence(beats_of(tempo_map, 20)), RATE_HZ)

    assert song is not None
    assert (song.tempo.kind, song.tempo.bpm) == ("constant", 93.7)
    assert song.tempo.bpm_exact == "937/10"


@pytest.mark.parametrize("late_s", [0.04, 0.08])
def test_music_beside_the_map_does_not_follow_it(late_s: float) -> None:
    assert with_midi(TWO_TEMPI, onset_evidence(late_s + beats_of(TWO_TEMPI, 20)), RATE_HZ) is None


def test_music_that_leaves_the_map_half_way_does_not_follow_it() -> None:
    steady = 0.5 * np.arange(96, dtype=np.float64)

    assert with_midi(TWO_TEMPI, onset_evidence(steady), RATE_HZ) is None
