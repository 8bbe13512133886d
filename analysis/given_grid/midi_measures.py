"""A tempo map from a MIDI file, taken for the song's grid when the sound lies on it."""

from __future__ import annotations

import numpy as np

from analysis.bars.song_measures import measures_from
from analysis.core.reports import MapSegment, SongMeasures, Tempo
from analysis.core.samples import Doubles
from analysis.given_grid.bars_on_grid import BarsOnGrid, lay_out_on
from analysis.lineup.stem_lag import coherent_lag, median_lag_s
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap, exact
from analysis.tempo.evidence import Evidence

# The band's attacks must gather on the map's beats this clearly, and this near; then the map is this sure. A map of
# more beats is cut off (house choices).
_LEAST_COHERENCE = 0.45
_MOST_LAG_S = 0.025
_AGREEMENT = 0.97
_MOST_BEATS = 20_000


def with_midi(tempo_map: TempoMap, music: Evidence, sample_rate_hz: int) -> SongMeasures | None:
    """The song on the MIDI file's grid.

    Parameters
    ----------
    tempo_map : TempoMap
        As the MIDI file states it.
    music : Evidence
    sample_rate_hz : int
        In whose frames bar one is counted.

    Returns
    -------
    SongMeasures or None
        None when the sound does not lie on the map from start to end.
    """
    beats, downbeats = _beats_of(tempo_map, music.last_sound_s)
    is_free = all(segment.free for segment in tempo_map.segments)
    if len(beats) < 8 or is_free or not _agrees(music, beats, tempo_map):
        return None
    sign = str(tempo_map.segment_at_bar(1).meter)
    per_bar = tempo_map.segment_at_bar(1).meter.beats_per_bar
    layout = lay_out_on(beats, BarsOnGrid(downbeats[0], per_bar, sign, _AGREEMENT, _AGREEMENT), music)
    segments = () if len(tempo_map.segments) == 1 else _segments(tempo_map, layout.bar_one_s)
    return measures_from(
        layout,
        _tempo(tempo_map, beats),
        sign=sign,
        confidences=(_AGREEMENT, _AGREEMENT),
        first_sound_s=music.first_sound_s,
        sample_rate_hz=sample_rate_hz,
        tempo_map=segments,
    )


def _tempo(tempo_map: TempoMap, beats: Doubles) -> Tempo:
    """The map's one tempo, or its mean and the range of what is not free."""
    kept = [segment.bpm for segment in tempo_map.segments if not segment.free]
    first, constant = tempo_map.segments[0], len(tempo_map.segments) == 1
    bpm = float(first.bpm) if constant else 60 * (len(beats) - 1) / float(beats[-1] - beats[0])
    return Tempo(
        kind="constant" if constant else "map",
        bpm=round(bpm, 6),
        bpm_exact=str(first.bpm) if constant else None,
        bpm_low=bpm if constant else float(min(kept)),
        bpm_high=bpm if constant else float(max(kept)),
        source="midi",
        residual_ms=None,
        confidence=_AGREEMENT,
    )


def _beats_of(tempo_map: TempoMap, end_s: float) -> tuple[Doubles, list[int]]:
    """Beat times from the files' start to past `end_s`, and which of them are downbeats."""
    bar = tempo_map.bar_beat_at(0.0).bar
    beats: list[float] = []
    downbeats: list[int] = []
    while len(beats) < _MOST_BEATS and float(tempo_map.time_of_bar(bar)) <= end_s + 2:
        for beat in range(tempo_map.segment_at_bar(bar).meter.beats_per_bar):
            time_s = float(tempo_map.time_of_bar(bar, beat))
            if time_s >= -1e-6:
                if beat == 0:
                    downbeats.append(len(beats))
                beats.append(time_s)
        bar += 1
    return np.array(beats), downbeats or [0]


def _agrees(music: Evidence, beats: Doubles, tempo_map: TempoMap) -> bool:
    """Both halves of what is in time lie on the grid: a wrong tempo leaves it within the first."""
    played = ~music.onset_is_bass & in_time(music.onset_s, tempo_map)
    times, weights = music.onset_s[played], music.onset_weight[played]
    middle_s = float(np.median(times)) if len(times) else 0.0
    for part in (times <= middle_s, times > middle_s):
        lag, late_s = coherent_lag(times[part], weights[part], beats), median_lag_s(times[part], weights[part], beats)
        if lag is None or late_s is None or lag.coherence < _LEAST_COHERENCE or abs(late_s) > _MOST_LAG_S:
            return False
    return True


def _segments(tempo_map: TempoMap, bar_one_s: float) -> tuple[MapSegment, ...]:
    """The map's segments, counted from the bar in which the band comes in."""
    one = tempo_map.bar_beat_at(exact(bar_one_s + 1e-3)).bar
    first = max((segment for segment in tempo_map.segments if segment.bar <= one), key=lambda s: s.bar, default=None)
    rows = [(1, float(tempo_map.time_of_bar(one)), first or tempo_map.segments[0])]
    rows += [
        (segment.bar - one + 1, float(segment.time_s), segment) for segment in tempo_map.segments if segment.bar > one
    ]
    return tuple(
        MapSegment(bar, round(time_s, 6), round(float(segment.bpm), 6), str(segment.meter), segment.free)
        for bar, time_s, segment in rows
    )
