"""Checks of a delivery that need its samples: silent or clipped tracks, the same track twice, lag and polarity.

Microphones on one kit hear each other, so lag and polarity between tracks can be measured: distance shows as a lag
(2.9 ms a metre), a wrong cable as the opposite sign. The two heads of one drum move oppositely by nature.

Tested in `tests/analysis/delivery/test_verify.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.core.blocks import Block
from analysis.core.errors import UnusableFileError
from analysis.core.reports import Clipped
from analysis.core.sentences import written
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude, seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.verify_rhythm import SNARE, fits_originals, on_map
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.levels.clipping import ClippingMeter
from analysis.levels.sample_levels import LevelMeter
from analysis.lineup.correlation import Offset, OffsetFinder
from analysis.maps.tempo_map import TempoMap
from analysis.media.hashes import AudioDigest
from analysis.media.reader import open_media
from analysis.media.windows import Activity, ActivityMeter, choose_windows, mixed_window

# The furthest room microphone stands about 17 m away: 50 ms (house choice).
_LONGEST_MIC_LAG_S = 0.05
# A bar at a slow tempo (4/4 at 53); the window must stay well longer (house choices).
_LONGEST_MIX_LAG_S = 4.5
_MIX_WINDOW_S = 12.0
# One frame is the rounding of a conversion. Windows for lags between microphones (house choices).
_LINED_UP_FRAMES = 1
_WINDOW_S, _MOST_WINDOWS = 6.0, 4
_BOTTOM_HEAD = re.compile(r"(bottom|bot|btm|under)(?![a-z])", re.I)
_OVERHEAD = re.compile(r"(?<![a-z])(oh|over[ _-]?heads?|room|rm)", re.I)


@dataclass(frozen=True)
class _Track:
    path: Path
    peak: float
    clipped: Clipped
    digest: str
    activity: Activity
    sample_rate_hz: int
    features: Features


@dataclass(frozen=True)
class Song:
    """What the set is compared with. `against`: a rough mix of the same playing; `originals`: the client's files."""

    tempo_map: TempoMap | None = None
    against: Path | None = None
    originals: tuple[Path, ...] = ()


def sound_checks(paths: Sequence[Path], song: Song, limits: Limits) -> list[Check]:
    tracks = [_measure_track(path, limits) for path in paths]
    checks = [check for track in tracks for check in _track_checks(track, limits)]
    checks += _duplicates(tracks)
    sounding = [track for track in tracks if track.peak > amplitude_from_db(limits.silent_peak_dbfs)]
    return [*checks, *_polarity(sounding, limits), *_song_checks(sounding, song, limits)] if sounding else checks


def _song_checks(tracks: Sequence[_Track], song: Song, limits: Limits) -> Iterator[Check]:
    """Where the set lies in the song: by its own sound in a mix, by the map's beats, by the client's files."""
    originals = list(song.originals)
    if song.against is not None:
        in_mix = _lined_up(tracks, song.against, limits)
        yield in_mix
        if in_mix.value is None and in_mix.passed:
            originals.append(song.against)
    if song.tempo_map is not None:
        yield from on_map({track.path.stem: track.features for track in tracks}, song.tempo_map, limits)
    if originals:
        sounding = [features for path in originals if (features := _features_of(path))]
        yield fits_originals([track.features for track in tracks], sounding, limits)


def _features_of(path: Path) -> Features | None:
    """None for a file without sound: its sender has been told already."""
    try:
        with open_media(path) as media:
            music = MusicFeatures(media.facts.sample_rate_hz, media.facts.channels)
            for samples in media.blocks():
                music.add(samples)
    except UnusableFileError:
        return None
    return music.finish()


def _measure_track(path: Path, limits: Limits) -> _Track:
    with open_media(path) as media:
        facts = media.facts
        levels = LevelMeter(facts.channels)
        clipping = ClippingMeter(facts.sample_rate_hz, facts.channels, bit_depth=facts.bit_depth, limits=limits)
        digest, activity = AudioDigest(facts.sample_rate_hz, facts.channels), ActivityMeter(facts.sample_rate_hz)
        music = MusicFeatures(facts.sample_rate_hz, facts.channels)
        frames = 0
        for samples in media.blocks():
            block = Block(samples, frames)
            frames += block.frames
            for meter in (levels, clipping, digest, activity):
                meter.add(block)
            music.add(block.samples)
        return _Track(
            path,
            levels.finish().peak,
            clipping.finish(),
            digest.finish(),
            activity.finish(),
            facts.sample_rate_hz,
            music.finish(),
        )


def _track_checks(track: _Track, limits: Limits) -> Iterator[Check]:
    name, peak_dbfs = track.path.name, dbfs_from_amplitude(track.peak)
    sounding = track.peak > amplitude_from_db(limits.silent_peak_dbfs)
    words = f"{name} peaks at {written('_dbfs', peak_dbfs)}." if sounding else f"{name} is silent."
    yield Check("sounding", name, sounding, peak_dbfs, limits.silent_peak_dbfs, words)
    places, runs = len(track.clipped.events), track.clipped.runs
    if runs:
        worst = max(track.clipped.events, key=lambda event: event.longest_frames)
        where = f"{written('places', places)}, the worst at {seconds_as_clock(worst.start_s)}"
        yield Check("clipped", name, passed=False, value=runs, limit=0, message=f"{name} is clipped in {where}.")
    else:
        yield Check("clipped", name, passed=True, value=0, limit=0, message=f"{name} is not clipped.")


def _duplicates(tracks: Sequence[_Track]) -> Iterator[Check]:
    first: dict[str, str] = {}
    for track in tracks:
        other = first.setdefault(track.digest, track.path.name)
        if other != track.path.name and track.peak > 0.0:
            message = f"{track.path.name} is the same recording as {other}."
            yield Check("distinct-sound", track.path.name, passed=False, value=other, message=message)


def _polarity(tracks: Sequence[_Track], limits: Limits) -> Iterator[Check]:
    """Overheads, rooms and bottom heads against the close snare microphone, when the names say which is which."""
    top = next((track for track in tracks if _is_close_top(track.path.stem)), None)
    if top is None:
        return
    for track in tracks:
        is_bottom = _is_bottom_head(track.path.stem)
        if track is top or not (is_bottom or _OVERHEAD.search(track.path.stem)):
            continue
        offset = _offset_between([top.path], [track], _LONGEST_MIC_LAG_S)
        if offset is not None and offset.confidence >= limits.start_confidence:
            yield _polarity_check(track.path.name, top.path.name, offset, is_bottom=is_bottom)


def _is_close_top(stem: str) -> bool:
    return bool(SNARE.search(stem)) and not _is_bottom_head(stem)


def _is_bottom_head(stem: str) -> bool:
    return bool(SNARE.search(stem)) and bool(_BOTTOM_HEAD.search(stem))


def _polarity_check(name: str, top: str, offset: Offset, *, is_bottom: bool) -> Check:
    way = "after" if offset.lag_frames >= 0 else "before"
    lag = f"{name} is {written('_frames', abs(offset.lag_frames))} {way} {top}"
    if offset.polarity > 0:
        note = (
            ": same polarity, though the two heads of a drum move in opposite directions; it was flipped"
            if is_bottom
            else ("")
        )
        return Check("polarity", name, passed=True, value=offset.lag_frames, message=f"{lag}{note}.")
    if is_bottom:
        words = f"{lag}, polarity opposite, as expected of the other head of the drum."
        return Check("polarity", name, passed=True, value=offset.lag_frames, message=words)
    return Check("polarity", name, passed=False, value=offset.lag_frames, message=f"{lag}, polarity opposite.")


def _lined_up(tracks: Sequence[_Track], against: Path, limits: Limits) -> Check:
    """The sum of the tracks against a rough mix that holds the same performance."""
    try:
        offset = _offset_between([against], tracks, _LONGEST_MIX_LAG_S, window_s=_MIX_WINDOW_S)
    except UnusableFileError as error:
        return Check("lined-up", None, passed=False, message=f"{against.name} {error.reason}.")
    if offset is None or offset.confidence < limits.start_confidence:
        words = f"Can't tell whether the set lines up with {against.name}: they have too little sound in common."
        return Check("lined-up", None, passed=True, limit=_LINED_UP_FRAMES, message=words, undecided=True)
    lag = offset.lag_frames
    way = "later" if lag > 0 else "earlier"
    words = f"The set lines up with {against.name}."
    if lag:
        words = f"The set is {written('_frames', abs(lag))} {way} than {against.name}."
    return Check("lined-up", None, abs(lag) <= _LINED_UP_FRAMES, lag, _LINED_UP_FRAMES, words)


def _offset_between(
    references: Sequence[Path], tracks: Sequence[_Track], longest_lag_s: float, *, window_s: float = _WINDOW_S
) -> Offset | None:
    """Lag of the sum of `tracks` against the sum of `references`, from a few loud places. None: nothing to compare."""
    if not tracks:
        return None
    rate_hz = tracks[0].sample_rate_hz
    window_frames = round(window_s * rate_hz)
    finder = OffsetFinder(window_frames, round(longest_lag_s * rate_hz))
    for start_s in choose_windows([track.activity for track in tracks], window_s=window_s, most=_MOST_WINDOWS):
        sides = (references, [track.path for track in tracks])
        first, second = (mixed_window(paths, start_s, window_frames, rate_hz) for paths in sides)
        finder.add(finder.spectrum(first), finder.spectrum(second))
    return finder.finish()
