"""Is one file late or early against the others?

Where an accepted mix of the same playing is there, the fit of the mix on its tracks says so to the sample. Without one,
only what geometry forbids is said: nothing hears a drum before its own microphone, and nobody's overheads hang ten
metres up. D-20: 343.2 m/s at 20 degrees C, so a metre is 2.91 ms.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.core.errors import UnusableFileError
from analysis.core.samples import Floats
from analysis.core.sentences import written
from analysis.core.units import seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.measured_set import MeasuredSet, Track
from analysis.delivery.microphone import names_wrong
from analysis.lineup.correlation import OffsetFinder
from analysis.lineup.track_fit import CLEAR, TrackLag, Window, emphasised, settled, track_lags

SPEED_OF_SOUND_M_S = 343.2
# How far one file is looked for, and the whole set against the mix (house choices).
_LONGEST_S, _LONGEST_SET_S = 0.1, 1.0
# This share of the tracks must lie together for the mix to say anything of the others (house choice).
_MOST_TOGETHER = 0.5
# What microphones stand from the snare: nearest and furthest, in metres (common practice, widely drawn).
_METRES = {"overhead": (0.4, 3.0), "room": (0.5, 17.0)}
_CLOSE_METRES = (0.05, 1.6)
# Overheads hang about as far from the snare (common practice); this much apart nobody hangs them (house choice).
_PAIR_METRES = 1.0
_UNSURE = 0.5
# A track that lies elsewhere must be this clear; one with less power than this share of the mix is not in it (house
# choices).
_SURE, _IN_THE_MIX = 0.78, 1e-5
# Elsewhere it must also be more than this share of what no track explains: under music in the mix tracks in place were
# taken for others at up to 0.01 (seen), tracks that are late at 0.3 and more. From the second on it need only be clear
# (house choices). One stretch alone must show more: there tracks in place reached 0.09 (seen).
_OVER_REST, _FAR_OVER_REST, _OVER_REST_THERE = 0.02, 0.5, 0.25


def arrival(measured: MeasuredSet) -> Iterator[Check]:
    """Of the microphones that are what their names say; of others nothing can be said."""
    wrong = set(names_wrong(measured)) | set(measured.doubles)
    rows = [number for number in range(len(measured.microphones)) if number not in wrong]
    if len(rows) < 2 or not measured.excerpts.samples:
        return
    checks = list(_in_the_mix(measured, rows))
    yield from checks or _by_bleed(measured, [measured.microphones[number] for number in rows])


def _in_the_mix(measured: MeasuredSet, rows: Sequence[int]) -> Iterator[Check]:
    """Nothing where there is no mix, or none that these tracks explain."""
    against = measured.song.against
    if against is None:
        return
    tracks = [measured.microphones[number] for number in rows]
    try:
        for set_lag in _set_lags(measured, against):
            pairs = zip(measured.excerpts.samples, measured.excerpts.of(against, later_frames=set_lag), strict=True)
            windows = [(emphasised(ours[list(rows)]), emphasised(mix)) for ours, mix in pairs]
            longest = round(_LONGEST_S * measured.sample_rate_hz)
            lags: Sequence[TrackLag] = track_lags(windows, longest_frames=longest)
            if any(_is_covered(lag) for lag in lags):
                lags = _beside_music(windows, list(_music(measured, set_lag)), lags, longest)
            usual = _usual(lags)
            if usual is not None:
                there = [track_lags([window], longest_frames=longest) for window in windows]
                lags = settled(lags, there, usual, least_clear=_SURE)
                yield from _said(measured, tracks, lags, usual)
                yield from _moving(measured, tracks, there, lags)
                return
    except UnusableFileError:
        return


def _music(measured: MeasuredSet, set_lag: int) -> Iterator[tuple[Floats, ...]]:
    for path in measured.song.originals:
        with suppress(UnusableFileError):
            yield measured.excerpts.of(path, later_frames=set_lag)


def _is_covered(lag: TrackLag) -> bool:
    return lag.clear < CLEAR or lag.over_rest < _OVER_REST


def _beside_music(
    windows: Sequence[Window], music: Sequence[tuple[Floats, ...]], lags: Sequence[TrackLag], longest: int
) -> Sequence[TrackLag]:
    """Tracks that the mix does not show, once what it holds of the client's music is explained by that; their share is
    then that of what is no music. Of the others nothing changes: a little of them can be explained by music too."""
    if not music:
        return lags
    joined = [
        (np.concatenate([tracks, *(emphasised(part[number])[None] for part in music)]), mix)
        for number, (tracks, mix) in enumerate(windows)
    ]
    beside = track_lags(joined, longest_frames=longest)[: len(lags)]
    drums = sum(lag.share for lag in beside)
    return [
        replace(other, share=other.share / max(drums, 1e-12)) if _is_covered(lag) and other.clear >= _SURE else lag
        for lag, other in zip(lags, beside, strict=True)
    ]


def _set_lags(measured: MeasuredSet, against: Path) -> Iterator[int]:
    """How much later the whole set may be than the mix: as a good one lies, or as its sum says."""
    due = round(-measured.song.zero_s * measured.sample_rate_hz)
    yield due
    samples, longest = measured.excerpts.samples, round(_LONGEST_SET_S * measured.sample_rate_hz)
    finder = OffsetFinder(samples[0].shape[1], longest)
    for ours, mix in zip(samples, measured.excerpts.of(against), strict=True):
        finder.add(finder.spectrum(mix), finder.spectrum(ours.sum(axis=0)))
    found = finder.finish()
    if found and found.lag_frames != due:
        yield found.lag_frames


def _usual(lags: Sequence[TrackLag]) -> int | None:
    """Where most tracks lie; None where they do not lie together, and the mix says nothing."""
    clear = [lag.lag_frames for lag in lags if lag.clear >= CLEAR]
    if not clear:
        return None
    usual, count = Counter(clear).most_common(1)[0]
    return usual if count > _MOST_TOGETHER * len(lags) else None


def _said(measured: MeasuredSet, tracks: Sequence[Track], lags: Sequence[TrackLag], usual: int) -> Iterator[Check]:
    mix = measured.song.against.name if measured.song.against else ""
    if (doubtful := _doubtful(tracks, lags, usual)) or not _fits(lags, usual):
        words = (
            f"Can't tell whether {', '.join(doubtful) or 'all tracks'} lie where {mix} has them: it does not fit them."
        )
        yield Check("arrival", None, passed=True, message=words, undecided=True)
    if not _fits(lags, usual):
        return
    off = [(track, lag.lag_frames - usual) for track, lag in zip(tracks, lags, strict=True) if _is_off(lag, usual)]
    for track, frames in off:
        way = "later" if frames > 0 else "earlier"
        ms = 1000 * abs(frames) / measured.sample_rate_hz
        words = (
            f"{track.file} is {written('_frames', abs(frames))} ({ms:.2f} ms) {way} than the other tracks, "
            f"by what {mix} holds of each."
        )
        yield Check("arrival", track.file, passed=False, value=frames, limit=0, message=words, low=frames, high=frames)
    if not off and not doubtful:
        words = f"All tracks lie together as in {mix}, to the sample."
        yield Check("arrival", None, passed=True, value=0, limit=0, message=words, low=0, high=0)


def _is_off(lag: TrackLag, usual: int) -> bool:
    return lag.share >= _IN_THE_MIX and lag.lag_frames != usual and lag.over_rest >= _OVER_REST


def _is_sure(lag: TrackLag, usual: int) -> bool:
    if lag.lag_frames == usual:
        return lag.clear >= CLEAR
    least = CLEAR if lag.over_rest >= _FAR_OVER_REST else _SURE
    return lag.clear >= least and lag.over_rest >= _OVER_REST


def _doubtful(tracks: Sequence[Track], lags: Sequence[TrackLag], usual: int) -> list[str]:
    """What the mix holds too little of, or what lies nowhere clearly."""
    return [
        track.file
        for track, lag in zip(tracks, lags, strict=True)
        if lag.share < _IN_THE_MIX or not _is_sure(lag, usual)
    ]


def _fits(lags: Sequence[TrackLag], usual: int) -> bool:
    """Does the mix consist of these tracks, and no others? A track that is missing here moves those that hear it."""
    mixed = [lag for lag in lags if lag.share >= _IN_THE_MIX]
    return all(_is_sure(lag, usual) for lag in mixed if lag.lag_frames == usual or _is_off(lag, usual))


def _moving(
    measured: MeasuredSet, tracks: Sequence[Track], there: Sequence[Sequence[TrackLag]], lags: Sequence[TrackLag]
) -> Iterator[Check]:
    """A track that lies elsewhere in one stretch only was cut, or holds a stretch twice."""
    usual = _usual(lags)
    said = {number for number, lag in enumerate(lags) if lag.lag_frames != usual and lag.clear >= CLEAR}
    for start_s, here in zip(measured.excerpts.starts_s, there, strict=True):
        if usual is None or not _fits(here, usual):
            continue
        for number, lag in enumerate(here):
            elsewhere = lag.lag_frames != usual and lag.over_rest >= _OVER_REST_THERE and _is_sure(lag, usual)
            if elsewhere and number not in said:
                said.add(number)
                yield _moves(tracks[number], lag.lag_frames - usual, start_s)


def _moves(track: Track, frames: int, start_s: float) -> Check:
    way = "later" if frames > 0 else "earlier"
    words = (
        f"{track.file} is {written('_frames', abs(frames))} {way} than the other tracks from about "
        f"{seconds_as_clock(start_s)} on, and not all through: something was cut out or put in."
    )
    return Check("arrival", track.file, passed=False, value=frames, limit=0, message=words, place_s=start_s)


def _by_bleed(measured: MeasuredSet, tracks: Sequence[Track]) -> Iterator[Check]:
    """What distances allow, from the snare's strokes."""
    top = measured.own_microphone("snare")
    if top is None or top not in tracks:
        return
    heard = measured.heard[top.name]
    others = [track for track in tracks if track is not top and track.name in heard]
    sure = [(track, heard[track.name].lag_frames) for track in others if heard[track.name].rival < _UNSURE]
    if not sure:
        return
    if sum(lag < 0 for _, lag in sure) > len(sure) / 2:
        yield _own_is_late(top, sure, measured.sample_rate_hz)
        return
    found = [check for track, lag in sure for check in _impossible(track, top, lag, measured.sample_rate_hz)]
    found += _uneven_pair(measured, {track.name: lag for track, lag in sure})
    yield from found
    if not found:
        against = measured.song.against
        why = f": {against.name} does not show it" if against else " without a mix of them"
        words = f"Can't tell to the sample whether the tracks lie together{why}; their distances allow it."
        yield Check("arrival", None, passed=True, message=words, undecided=True)


def _own_is_late(top: Track, sure: Sequence[tuple[Track, int]], rate_hz: int) -> Check:
    """By each other microphone's distance, the snare's own must come first by so much."""
    bounds = [tuple(_frames(metres, rate_hz) - lag for metres in _metres(track)) for track, lag in sure]
    low, high = max(bound[0] for bound in bounds), min(bound[1] for bound in bounds)
    low, high = sorted((low, high))
    words = (
        f"{top.file} is late: most microphones hear the snare before it. By their distances it is "
        f"{low} to {high} samples late."
    )
    return Check(
        "arrival", top.file, passed=False, value=round((low + high) / 2), limit=0, message=words, low=low, high=high
    )


def _impossible(track: Track, top: Track, lag: int, rate_hz: int) -> Iterator[Check]:
    near, far = (_frames(metres, rate_hz) for metres in _metres(track))
    if (lag > far or lag < 0) and not track.channel.other_head:
        low, high = lag - far, lag - near
        way = f"{lag} samples after" if lag > 0 else f"{-lag} samples before"
        words = (
            f"{track.file} hears the snare {way} {top.file}, as no microphone in its place can: "
            f"it is {low} to {high} samples late."
        )
        yield Check(
            "arrival",
            track.file,
            passed=False,
            value=round((low + high) / 2),
            limit=0,
            message=words,
            low=low,
            high=high,
        )


def _uneven_pair(measured: MeasuredSet, sure: dict[str, int]) -> Iterator[Check]:
    pair = measured.pair("overhead")
    if pair is None or any(one.name not in sure for one in pair):
        return
    apart = sure[pair[0].name] - sure[pair[1].name]
    limit = _frames(_PAIR_METRES, measured.sample_rate_hz)
    if abs(apart) > limit:
        later, earlier = pair if apart > 0 else pair[::-1]
        words = (
            f"{later.file} hears the snare {abs(apart)} samples after {earlier.file}, more than a metre's way: "
            "one of the two has moved."
        )
        value = abs(apart)
        low, high = value - limit, value + limit
        yield Check("arrival", later.file, passed=False, value=value, limit=limit, message=words, low=low, high=high)


def _metres(track: Track) -> tuple[float, float]:
    return _METRES.get(track.channel.kind, _CLOSE_METRES)


def _frames(metres: float, rate_hz: int) -> int:
    return int(np.rint(metres / SPEED_OF_SOUND_M_S * rate_hz))
