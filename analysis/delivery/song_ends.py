"""Whole beats and bars off, where no mix of the same playing is there: what beats alone cannot show.

A band begins together and ends together. Drums that begin and end with the client's music lie
where they belong; drums that begin and end the same number of beats beside it do not. Anything else says nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.delivery.check_results import Check
from analysis.delivery.map_tempo import in_beats
from analysis.delivery.measured_set import MeasuredSet, features_of
from analysis.delivery.own_strokes import strokes_of_kit
from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.given_grid.click_track import find_click
from analysis.maps.tempo_map import TempoMap

# How far from a whole number of beats both ends may be, in beats: a rounded attack of a pad is a sixteenth late
# (house choice).
_NEAR_BEATS = 0.25
# What begins or ends a part is this strong among its attacks (house choice: no breath, no last noise of a chair).
_STRONG = 0.3

_Ends = tuple[float, float]


def whole_bars(measured: MeasuredSet) -> Iterator[Check]:
    """Asked where there is a map, and no mix that shows it to the sample."""
    song = measured.song
    if song.tempo_map is None or song.against is not None or not measured.sounding:
        return
    tracks = {track.name: track.features for track in measured.sounding if track.channel.kind != "click"}
    music = [features for path in song.originals if (features := features_of(path))]
    yield _by_ends(_ends_of_kit(tracks, song.tempo_map), _ends_of(music, song.zero_s), song.tempo_map)


def _ends_of_kit(tracks: dict[str, Features], tempo_map: TempoMap) -> _Ends | None:
    strokes = strokes_of_kit(tracks, tempo_map)
    return (float(strokes.times_s[0]), float(strokes.times_s[-1])) if len(strokes.times_s) else None


def _ends_of(music: Sequence[Features], zero_s: float) -> _Ends | None:
    """The first and the last strong attack of all files but clicks, in the time of the tracks."""
    attacks = [attacks_of(features) for features in music if find_click(features) is None]
    strong = [one.times_s[one.weight >= _STRONG] for one in attacks]
    times_s = np.concatenate([np.zeros(0), *strong]) - zero_s
    return (float(times_s.min()), float(times_s.max())) if len(times_s) else None


def _by_ends(drums: _Ends | None, music: _Ends | None, tempo_map: TempoMap) -> Check:
    if drums is None or music is None:
        return _cannot_tell("there is no client's music to begin and end with")
    ours, theirs = (in_beats(np.array(ends), tempo_map)[0] for ends in (drums, music))
    beats = ours - theirs
    off = round(float(beats[0]))
    if (np.abs(beats - off) > _NEAR_BEATS).any():
        return _cannot_tell("they do not begin and end with the client's music")
    if not off:
        words = "The drums begin and end with the client's music."
        return Check("whole-bars", None, passed=True, value=0, limit=0, message=words)
    words = (
        f"The drums begin and end {abs(off)} {'beat' if abs(off) == 1 else 'beats'} {'after' if off > 0 else 'before'} "
        "the client's music: the set lies that far off."
    )
    return Check("whole-bars", None, passed=False, value=off, limit=0, message=words, place_s=round(drums[0], 2))


def _cannot_tell(why: str) -> Check:
    words = f"Can't tell whether the drums are whole beats or bars off: {why}."
    return Check("whole-bars", None, passed=True, message=words, undecided=True)
