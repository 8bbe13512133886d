"""Where a rough mix of a take lies in its song, found by itself: to the sample where it holds the client's music.

With music in it, the mix is fitted by that music window by window (`delivery/mix_fit.py`), and the lag that the windows
share is its place. A mix of drums alone shares no sound: then the places that are known (where the client's files
begin, where the session does) are held against the map, and the one counts whose beats its strokes lie nearest. A
steady distance from the beats is a feel and moves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from analysis.core.blocks import Block
from analysis.core.errors import FeelError, UnusableFileError
from analysis.delivery.drum_hits import DrumHits, HitMeter
from analysis.delivery.feel import feel_of
from analysis.delivery.lag_line import fit_line, holds
from analysis.delivery.mix_fit import Fit, Sides, spread_windows
from analysis.delivery.mix_lags import follow, times_and_lags
from analysis.handover.place_report import TakePlace
from analysis.maps.tempo_map import TempoMap
from analysis.media.reader import open_media
from analysis.media.windows import Activity, ActivityMeter

if TYPE_CHECKING:
    from analysis.delivery.measured_set import Track

SOUND, MAP, STATED = "sound", "map", "stated"
# The rough look: windows, and how far around each known place (house choices: a bar of 4/4 at 60 either way).
_WINDOW_S, _REACH_S, _PLACES, _LOWERED = 2.0, 4.0, 6, 4
# What chance does not reach (`delivery/mix_lags.py`), and how near to each other windows agree, in frames.
_CLEAR, _AGREE_FRAMES = 20.0, 64
# So many windows must hold one lag before it is believed; a second is loud from -13 dB under the loudest on (house
# choices).
_LEAST_WINDOWS, _LOUD = 4, 0.05
# Of two places whose strokes lie as near to the beats, within so many milliseconds, the stated one counts (house
# choice).
_AS_NEAR_MS = 5.0


@dataclass(frozen=True)
class _Music:
    """What following a lag asks of a track."""

    path: Path
    sample_rate_hz: int
    frames: int
    activity: Activity


def place_take(
    mix: Path,
    *,
    known_s: Sequence[float],
    music: Path | None = None,
    tempo_map: TempoMap | None = None,
    starts: Sequence[int] = (),
) -> TakePlace:
    """Line a rough mix up to its song, and hold it against the map.

    Parameters
    ----------
    mix : Path
        Drums alone, or drums and music.
    known_s : sequence of float
        Where it may begin in the time of the client's files; the first is what was stated.
    music : Path, optional
        The client's music from the beginning of their files, where the mix may hold it.
    tempo_map : TempoMap, optional
        In the time of the client's files.
    starts : sequence of int, optional
        The bars with which the song's sections begin, for the feel.

    Raises
    ------
    UnusableFileError
        When a file cannot be read.
    """
    hits, rate_hz = _hits(mix)
    place = _by_sound(mix, music, known_s, rate_hz) if music else None
    if place is None:
        place = _by_map(hits, known_s, tempo_map)
    return _with_feel(place, hits, tempo_map, starts)


def _by_sound(mix: Path, music_path: Path, known_s: Sequence[float], rate_hz: int) -> TakePlace | None:
    music = _measured(music_path)
    sides = Sides(mix, (music_path,), rate_hz)
    first = _first_look(sides, music, known_s)
    if first is None:
        return None
    fits = follow(sides, first, cast("list[Track]", [music]))
    if len(fits) < _LEAST_WINDOWS or not holds(line := fit_line(*times_and_lags(fits))):
        return None
    frames = round((line.low + line.high) / 2)
    low, high = round(line.low, 1), round(line.high, 1)
    return TakePlace(frames / rate_hz, SOUND, begins_frames=frames, low_frames=low, high_frames=high)


def _first_look(sides: Sides, music: _Music, known_s: Sequence[float]) -> Fit | None:
    """The window that most others agree with, around any of the known places."""
    loud = [float(second) for second in np.flatnonzero(music.activity.share > _LOUD)]
    fits: list[Fit] = []
    for begins_s in known_s:
        for at_s in spread_windows([second - begins_s for second in loud if second >= begins_s], _PLACES):
            fit = sides.fit_at(at_s, _WINDOW_S, lag_s=begins_s, reach_s=_REACH_S, lowered=_LOWERED)
            if fit is not None and fit.clearness >= _CLEAR:
                fits.append(fit)
    agreeing = [sum(abs(fit.lag_frames - other.lag_frames) <= _AGREE_FRAMES for other in fits) for fit in fits]
    return fits[int(np.argmax(agreeing))] if max(agreeing, default=0) > 1 else None


def _by_map(hits: DrumHits, known_s: Sequence[float], tempo_map: TempoMap | None) -> TakePlace:
    """Of the known places the one whose beats the strokes lie nearest."""
    stated_s = known_s[0]
    if tempo_map is None or len(known_s) == 1:
        return TakePlace(stated_s, STATED)
    away = {begins_s: _away_ms(hits, tempo_map, begins_s) for begins_s in known_s}
    nearest_s = min(known_s, key=lambda begins_s: away[begins_s])
    if not np.isfinite(away[nearest_s]):
        return TakePlace(stated_s, STATED)
    return TakePlace(stated_s if away[stated_s] - away[nearest_s] <= _AS_NEAR_MS else nearest_s, MAP)


def _away_ms(hits: DrumHits, tempo_map: TempoMap, begins_s: float) -> float:
    """How far most strokes lie from the beats, a wide scatter included; infinite where there is too little."""
    try:
        report = feel_of(hits, _from(tempo_map, begins_s))
    except FeelError:
        return float("inf")
    strokes = sum(one.attacks for one in report.overall)
    return sum(one.attacks * (abs(one.median_ms) + one.spread_ms) for one in report.overall) / max(strokes, 1)


def _with_feel(place: TakePlace, hits: DrumHits, tempo_map: TempoMap | None, starts: Sequence[int]) -> TakePlace:
    said = place.to_json()
    if tempo_map is None:
        return TakePlace.from_json(said | {"no_feel": "no tempo map is approved"})
    try:
        return TakePlace.from_json(said | {"feel": feel_of(hits, _from(tempo_map, place.begins_s), starts).to_json()})
    except FeelError as error:
        return TakePlace.from_json(said | {"no_feel": str(error)})


def _from(tempo_map: TempoMap, begins_s: float) -> TempoMap:
    """The same map where time begins at `begins_s` of it."""
    data = tempo_map.to_json()
    segments = [one | {"time_s": float(one["time_s"]) - begins_s} for one in data["segments"]]
    return TempoMap.from_json(data | {"bar_one_s": float(data["bar_one_s"]) - begins_s, "segments": segments})


def _hits(path: Path) -> tuple[DrumHits, int]:
    with open_media(path) as media:
        meter = HitMeter(media.facts.sample_rate_hz)
        for samples in media.blocks():
            meter.add(samples)
        return meter.finish(), media.facts.sample_rate_hz


def _measured(path: Path) -> _Music:
    with open_media(path) as media:
        rate_hz, frames = media.facts.sample_rate_hz, 0
        activity = ActivityMeter(rate_hz)
        for samples in media.blocks():
            activity.add(Block(samples, frames))
            frames += len(samples)
    if not frames:
        raise UnusableFileError("holds no sound")
    return _Music(path, rate_hz, frames, activity.finish())
