"""Checks of a delivery by its own strokes: do the drums lie on the song's map, and do they fit what the client sent?

The map's grid shows any steady distance that is no whole beat: strokes gather somewhere, and in music they gather on
the beat more than anywhere. Up to `Limits.feel_s` early or late is how people play, and passes. A whole beat shows
where kick and snare have tracks of their own and have changed places. Whole bars show only against the client's files:
there each stretch of the song must fit better elsewhere, again and again, before anything is said. Strokes in free
passages of the map are compared with nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.core.sentences import written
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.fits_originals import fits_originals
from analysis.delivery.measured_set import MeasuredSet, features_of
from analysis.delivery.own_strokes import FEWEST_STROKES, KICK, SNARE, strokes_of_kit
from analysis.delivery.tempo_checks import clock_by_map, tempo_checks
from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.features.strokes import struck_at
from analysis.given_grid.click_track import find_click
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap

# Strokes of one place in the beat scatter by this much around their own middle; places are tried in these
# steps (house choices).
_SCATTER_S = 0.012
_STEP_S = 0.002
# The distance is the mean of the strokes that lie nearer to a place than an eighth of a beat, 50 ms at most, and than
# three of their standard deviations, which are taken as 5 ms at least (house choices; 1.4826 times the median distance
# is the standard deviation of a normal distribution).
_REACH_S, _REACH_BEATS, _REACH_DEVIATIONS, _LEAST_DEVIATION_S, _NORMAL_MEDIAN = 0.05, 1 / 8, 3.0, 0.005, 1.4826
_PASSES = 4
# What falls on one beat errs together, and players wander, by up to half of what they scatter, over some six bars: a
# mean over fewer errs by that too. Closer than half a millisecond nothing is read (house choices).
_WANDERS, _WANDER_BEATS, _READING_S = 0.5, 24, 0.0005
_NORMAL_95 = 1.96
# Against an even spread over the beat, the fullest place must hold this many times its due to say anything
# (house choice).
_GATHERED = 3.0
# What the beat itself holds, as a share of the fullest place: above the first the drums are on the map, below the
# second they are not; between the two, nobody can tell (house choices).
_ON_THE_BEAT, _OFF_THE_BEAT = 0.5, 0.25
# A stroke of a track's own drum is this strong among its strokes; weaker ones are its neighbours. Kick and snare have
# changed places when the wrong beats hold this many times the right ones (house choices).
_OWN_STROKE = 0.5
_CHANGED_PLACES = 3.0


def rhythm_checks(measured: MeasuredSet) -> Iterator[Check]:
    """The drums against the map's beats and against the client's files; without drums in those, nobody can tell."""
    song, tracks = measured.song, measured.sounding
    if song.tempo_map is not None and tracks:
        checks = list(map_checks({track.name: track.features for track in tracks}, song.tempo_map, measured.limits))
        yield from checks
        if song.against is None:
            length_s = max(track.frames for track in tracks) / measured.sample_rate_hz
            yield from (clock_by_map(check, length_s) for check in checks if check.code == "tempo" and check.passed)
    if song.originals and tracks:
        sounding = [features for path in song.originals if (features := features_of(path))]
        yield fits_originals([track.features for track in tracks], sounding, measured.limits, zero_s=song.zero_s)


def map_checks(drums: dict[str, Features], tempo_map: TempoMap, limits: Limits) -> Iterator[Check]:
    """First the tempo; only drums that keep it can lie on the map's beats."""
    played = {name: features for name, features in drums.items() if not _is_click(name, features)}
    tempo = tempo_checks(strokes_of_kit(played, tempo_map), tempo_map)
    yield from tempo
    if any(check.undecided for check in tempo):
        yield _cannot_tell("the hits do not show the map's tempo")
    elif all(check.passed for check in tempo):
        yield from on_map(drums, tempo_map, limits)


def on_map(drums: dict[str, Features], tempo_map: TempoMap, limits: Limits) -> list[Check]:
    """Do the drums lie on the map's beats, and not a beat beside them?

    Parameters
    ----------
    drums : dict of str to Features
        Each track by its name; clicks among them are left out.
    tempo_map : TempoMap
        In the same time as the tracks.
    limits : Limits

    Returns
    -------
    list of Check
        One or two.
    """
    played = {name: features for name, features in drums.items() if not _is_click(name, features)}
    parts = {name: _strokes(features, tempo_map) for name, features in played.items()}
    kit = strokes_of_kit(played, tempo_map)
    placed = [(kit.times_s, kit.loudness)] if kit.close else list(parts.values())
    checks = [_on_grid(placed, tempo_map, limits)]
    turned = _turned_around(parts, tempo_map)
    return checks if turned is None else [*checks, turned]


def _is_click(name: str, features: Features) -> bool:
    """A kick or snare that a program has set straight is as even as a click, and is none."""
    return not (KICK.search(name) or SNARE.search(name)) and find_click(features) is not None


def _strokes(features: Features, tempo_map: TempoMap) -> tuple[Doubles, Doubles]:
    """Times and weights of a track's strokes, where the map has a grid."""
    attacks = attacks_of(features)
    wanted = ~attacks.is_bass & in_time(attacks.times_s, tempo_map)
    return struck_at(features, attacks.times_s[wanted]), attacks.weight[wanted]


def _on_grid(parts: Sequence[tuple[Doubles, Doubles]], tempo_map: TempoMap, limits: Limits) -> Check:
    times, weights = (np.concatenate([np.zeros(0), *(part[index] for part in parts)]) for index in (0, 1))
    if len(times) < FEWEST_STROKES:
        return _cannot_tell("there are too few hits to compare")
    beats, beat_s = _places(times, tempo_map)
    period_s = float(np.median(beat_s))
    in_beat_s = beats % 1.0 * beat_s
    shifts, held = _gathering(in_beat_s, weights, period_s)
    fullest = float(held.max())
    if fullest * period_s < _GATHERED * 2 * _SCATTER_S:
        return _cannot_tell("the hits follow no pattern within the beat")
    on_beat = float(held[np.abs(shifts) <= limits.feel_s].max())
    if on_beat >= _ON_THE_BEAT * fullest:
        near = np.abs(shifts) <= limits.feel_s
        place_s = float(shifts[near][int(np.argmax(held[near]))])
        return _on_the_beats(_distance(place_s, in_beat_s, times, period_s), limits)
    if on_beat > _OFF_THE_BEAT * fullest:
        return _cannot_tell("the hits cluster at several places in the beat")
    place_s = float(shifts[int(np.argmax(held))])
    return _off(_distance(place_s, in_beat_s, times, period_s), period_s, limits)


def _gathering(in_beat_s: Doubles, weights: Doubles, period_s: float) -> tuple[Doubles, Doubles]:
    """Distances from the beat, and the share of all strokes that lies within `_SCATTER_S` of each."""
    shifts = np.arange(-period_s / 2, period_s / 2, _STEP_S)
    apart = np.abs((in_beat_s[None, :] - shifts[:, None] + period_s / 2) % period_s - period_s / 2)
    return shifts, (weights * (apart <= _SCATTER_S)).sum(axis=1) / weights.sum()


def _distance(place_s: float, in_beat_s: Doubles, times: Doubles, period_s: float) -> tuple[float, float]:
    """The mean of the strokes that gather around a place, and how far from it where the player sits may be, 95 times in
    100; seconds."""
    reach_s = min(_REACH_S, _REACH_BEATS * period_s)
    for _ in range(_PASSES):
        apart = (in_beat_s - place_s + period_s / 2) % period_s - period_s / 2
        near = np.abs(apart) <= reach_s
        place_s += float(apart[near].mean())
        deviation_s = max(_NORMAL_MEDIAN * float(np.median(np.abs(apart[near]))), _LEAST_DEVIATION_S)
        reach_s = min(reach_s, _REACH_DEVIATIONS * deviation_s)
    beats = len(np.unique(np.rint((times[near] - in_beat_s[near]) / period_s)))
    wander = _WANDERS**2 * min(1.0, _WANDER_BEATS / beats)
    error_s = float(apart[near].std()) * np.sqrt(1 / beats + wander)
    return place_s, max(_NORMAL_95 * error_s, _READING_S)


def _on_the_beats(distance: tuple[float, float], limits: Limits) -> Check:
    late_ms, low, high = _in_ms(distance)
    words = (
        f"The drums are on the beats of the tempo map, {_how_late(late_ms)}. "
        "Whole bars more or less do not show on the map."
    )
    limit = 1000 * limits.feel_s
    return Check("on-the-map", None, passed=True, value=late_ms, limit=limit, message=words, low=low, high=high)


def _off(distance: tuple[float, float], period_s: float, limits: Limits) -> Check:
    late_ms, low, high = _in_ms(distance)
    shift_s, way = distance[0], "later" if late_ms > 0 else "earlier"
    other_s = shift_s - np.sign(shift_s) * period_s
    other = "later" if other_s > 0 else "earlier"
    words = (
        f"The drums are not on the tempo map: they are {written('_ms', abs(late_ms))} {way} than its beats "
        f"(or {written('_ms', round(1000 * abs(other_s), 1))} {other}). "
        "Check that the tracks start where the client's files start."
    )
    limit = 1000 * limits.feel_s
    return Check("on-the-map", None, passed=False, value=late_ms, limit=limit, message=words, low=low, high=high)


def _in_ms(distance: tuple[float, float]) -> tuple[float, float, float]:
    middle, half = (1000 * one for one in distance)
    return round(middle, 1), round(middle - half, 2), round(middle + half, 2)


def _how_late(late_ms: float) -> str:
    if abs(late_ms) < 1:
        return "within a millisecond"
    return f"{written('_ms', abs(late_ms))} {'behind' if late_ms > 0 else 'ahead'}"


def _cannot_tell(why: str) -> Check:
    words = f"Can't tell whether the drums are on the tempo map: {why}."
    return Check("on-the-map", None, passed=True, message=words, undecided=True)


def _places(times: Doubles, tempo_map: TempoMap) -> tuple[Doubles, Doubles]:
    """Each time's beat within its bar, and the length of that beat."""
    places = [tempo_map.bar_beat_at(float(time)) for time in times]
    beat_s = [float(tempo_map.segment_at_bar(place.bar).beat_s) for place in places]
    return np.array([place.beat for place in places]), np.array(beat_s)


def _turned_around(parts: dict[str, tuple[Doubles, Doubles]], tempo_map: TempoMap) -> Check | None:
    """Kick on two and four, snare on one and three: music does the opposite, so the set is a beat off."""
    if any(segment.meter.beats_per_bar != 4 for segment in tempo_map.segments if not segment.free):
        return None
    kick, snare = (_on_beats(parts, name, tempo_map) for name in (KICK, SNARE))
    if kick is None or snare is None:
        return None
    odd, even = [0, 2], [1, 3]
    kick_moved = kick[even].sum() > _CHANGED_PLACES * kick[odd].sum()
    snare_moved = snare[odd].sum() > _CHANGED_PLACES * snare[even].sum()
    if not (kick_moved and snare_moved):
        return None
    words = "The kick is on beats two and four, the snare on one and three: the set may be off by a whole beat."
    return Check("on-the-map", None, passed=False, value="one beat", message=words)


def _on_beats(parts: dict[str, tuple[Doubles, Doubles]], name: re.Pattern[str], tempo_map: TempoMap) -> Indices | None:
    """How much of the drum's own strokes falls on each of the four beats; None without such a track."""
    own = [part for track, part in parts.items() if name.search(track)]
    if not own:
        return None
    times = np.concatenate([part[0][part[1] >= _OWN_STROKE * part[1].max(initial=0.0)] for part in own])
    if len(times) < FEWEST_STROKES // 2:
        return None
    beats, _ = _places(times, tempo_map)
    near = np.abs(beats - np.rint(beats)) < 0.15
    return np.bincount(np.rint(beats[near]).astype(np.intp) % 4, minlength=4)
