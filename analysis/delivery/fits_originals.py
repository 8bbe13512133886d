"""Does the set's rhythm fit what the client sent best where it lies?

Each stretch of the song must fit better elsewhere, again and again, before anything is said.

Without drums in the client's music only its ends say anything of whole beats and bars: a band begins together and ends
together. Drums that begin and end with the music lie where they belong; drums that begin and end the same number of
beats beside it do not. Anything else says nothing.

Tested in `tests/analysis/delivery/test_verify_rhythm.py` and `test_whole_bars.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.samples import Doubles
from analysis.core.sentences import written
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.map_tempo import in_beats
from analysis.delivery.measured_set import MeasuredSet, features_of
from analysis.delivery.own_strokes import strokes_of_kit
from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.features.guide_drums import drum_probability
from analysis.given_grid.click_track import find_click
from analysis.maps.tempo_map import TempoMap

# How far away the rhythm is looked for (three bars of 4/4 at 120), in stretches of this length, and the fewest of them
# (house choices).
_LONGEST_RHYTHM_LAG_S = 6.0
_STRETCH_S = 8.0
_FEWEST_STRETCHES = 4
# How many standard errors better the stretches must fit elsewhere (house choice).
_SURELY_ELSEWHERE = 4.0
# How far from a whole number of beats both ends may be, in beats: a rounded attack of a pad is a sixteenth late
# (house choice).
_NEAR_BEATS = 0.25
# What begins or ends a part is this strong among its attacks (house choice: no breath, no last noise of a chair).
_STRONG = 0.3

_Ends = tuple[float, float]


def fits_originals(
    drums: Sequence[Features], originals: Sequence[Features], limits: Limits, *, zero_s: float = 0.0
) -> Check:
    """Does the set's rhythm fit the client's files best where it lies, or a beat or some bars beside it?

    Parameters
    ----------
    drums, originals : sequence of Features
        Of the tracks, and of the client's files. Clicks among them are left out.
    limits : Limits
    zero_s : float
        How much later than the client's files the tracks were agreed to begin.
    """
    music = [features for features in originals if find_click(features) is None]
    played = [features for features in drums if find_click(features) is None]
    if not music or not played:
        return _cannot_fit("there is nothing to compare")
    rate_hz = music[0].band_rate_hz
    found = _rhythm_lag_s(_from(_curve(music), round(zero_s * rate_hz)), _curve(played), rate_hz)
    if found is None:
        return _cannot_fit("they are too short")
    lag_s, sureness = found
    here = abs(lag_s) <= limits.feel_s
    has_drums = any((drum_probability(features) or 0.0) >= limits.drums_likely for features in music)
    if not here and sureness < _SURELY_ELSEWHERE:
        return _cannot_fit("the rhythm fits equally well at other places")
    where = f"{written('_s', round(abs(lag_s), 2))} {'earlier' if lag_s > 0 else 'later'}"
    if not has_drums:
        there = "nothing in their rhythm contradicts it" if here else f"the rhythm would fit better {where}"
        return _cannot_fit(f"they contain no drums; {there}")
    words = "The drums line up with the drums in the client's files."
    if not here:
        words = f"The drums line up with the drums in the client's files only if they are {where}."
    off_ms = 0 if here else round(1000 * lag_s)
    return Check("fits-originals", None, passed=here, value=off_ms, limit=1000 * limits.feel_s, message=words)


def _cannot_fit(why: str) -> Check:
    words = f"Can't tell whether the drums line up with the client's files: {why}."
    return Check("fits-originals", None, passed=True, message=words, undecided=True)


def _curve(parts: Sequence[Features]) -> Doubles:
    """Onset strength of all parts together, even between loud and soft, around zero."""
    length = max(len(part.onset_strength) for part in parts)
    curve = np.zeros(length)
    for part in parts:
        rise = part.onset_strength.sum(axis=1)
        curve[: len(rise)] += np.sqrt(rise / (np.quantile(rise, 0.99) + 1e-9)) if len(rise) else 0.0
    centred: Doubles = curve - curve.mean()
    return centred


def _from(curve: Doubles, first: int) -> Doubles:
    """From this step on, which may lie before the curve's start."""
    return np.pad(curve, (-first, 0)) if first < 0 else curve[first:]


def _rhythm_lag_s(music: Doubles, drums: Doubles, rate_hz: float) -> tuple[float, float] | None:
    """How much later the drums are than the music's rhythm, and by how many standard errors that fits better than 0.

    None when there is too little to compare.
    """
    reach, size = round(_LONGEST_RHYTHM_LAG_S * rate_hz), round(_STRETCH_S * rate_hz)
    count = min(len(music), len(drums)) // size
    if count < _FEWEST_STRETCHES:
        return None
    padded = np.pad(drums, (reach, reach + size))
    lags = np.arange(-reach, reach + 1)
    rows = np.array(
        [
            np.correlate(padded[start : start + size + 2 * reach], music[start : start + size], "valid")
            for start in range(0, count * size, size)
        ]
    )
    best = int(np.argmax(rows.sum(axis=0)))
    here = rows[:, reach - 3 : reach + 4].max(axis=1)
    better = rows[:, best] - here
    error = float(better.std(ddof=1)) / np.sqrt(count)
    return float(lags[best]) / rate_hz, float(better.mean()) / error if error > 0 else 0.0


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
        return _cannot_place("there is no client's music to begin and end with")
    ours, theirs = (in_beats(np.array(ends), tempo_map)[0] for ends in (drums, music))
    beats = ours - theirs
    off = round(float(beats[0]))
    if (np.abs(beats - off) > _NEAR_BEATS).any():
        return _cannot_place("they do not begin and end with the client's music")
    if not off:
        words = "The drums begin and end with the client's music."
        return Check("whole-bars", None, passed=True, value=0, limit=0, message=words)
    words = (
        f"The drums begin and end {abs(off)} {'beat' if abs(off) == 1 else 'beats'} {'after' if off > 0 else 'before'} "
        "the client's music: the set lies that far off."
    )
    return Check("whole-bars", None, passed=False, value=off, limit=0, message=words, place_s=round(drums[0], 2))


def _cannot_place(why: str) -> Check:
    words = f"Can't tell whether the drums are whole beats or bars off: {why}."
    return Check("whole-bars", None, passed=True, message=words, undecided=True)
