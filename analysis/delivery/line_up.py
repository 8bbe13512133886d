"""The set against the accepted rough mix: the same take, where it lay then, at the same speed, all along the song?

The mix is fitted by the tracks (`mix_fit.py`), so a distance is exact to the frame, and a slope or a jump shows. A
track that was found elsewhere is taken as if it lay where it belongs: without it, what the mix holds of it would fit
what others hear of its drum, and the set would seem to lie elsewhere by a microphone's distance. Where nobody knows how
far it is off, only a set that lines up without it is said to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.core.errors import UnusableFileError
from analysis.core.sentences import written
from analysis.core.units import seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.lag_line import TONE_FRAMES, Jump, Line, find_jump, fit_line, holds
from analysis.delivery.measured_set import MeasuredSet, features_of
from analysis.delivery.mix_fit import Fit, Sides
from analysis.delivery.mix_lags import Lags, find_lags, follow, times_and_lags
from analysis.features.guide_drums import drum_probability

# One frame is the rounding of a conversion (house choice).
_LINED_UP_FRAMES = 1
# A clock is off when the lag changes by more than rounding over the song, and surely so (house choices).
_DRIFT_FRAMES, _DRIFT_ERRORS = 1.5, 3.0
# Two levels are a jump when they hold this much more of the windows than one line does (house choice).
_BETTER_BROKEN = 0.03
_SAME_SPEED = 1e-9
# What a track that was left out can feign.
_MOVED_BY_ONE = frozenset({"lined-up", "same-take", "break"})
# Music without drums is explained by tracks to 1 or 2 %, another take under loud music to 5 % and more (seen).
_STROKES_LIKE_THESE = 0.04
# 95 in 100 of a normal distribution lie within so many of its standard deviations.
_NORMAL_95 = 1.96


def lined_up(measured: MeasuredSet, arrivals: Sequence[Check] = ()) -> Iterator[Check]:
    """`arrivals`: what `arrival.py` says of single tracks."""
    against = measured.song.against
    if against is None or not measured.sounding:
        return
    off = [check for check in arrivals if check.file and not check.passed]
    unknown = {check.file for check in off if check.place_s is None and not _is_exact(check)}
    try:
        checks = _checked(measured, _sides(measured, against, off, unknown))
        yield from _decided(checks, sorted(filter(None, unknown)), against) if unknown else checks
    except UnusableFileError as error:
        yield Check("lined-up", None, passed=False, message=f"{against.name} {error.reason}.")


def _is_exact(check: Check) -> bool:
    return check.value is not None and check.low == check.high == check.value


def _sides(measured: MeasuredSet, against: Path, off: Sequence[Check], unknown: Collection[str | None]) -> Sides:
    """Each track where it belongs; one that lies elsewhere from some place on is fitted by what it is before and after;
    one that lies nobody knows where is left out."""
    places: list[tuple[Path, int]] = []
    for track in measured.sounding:
        mine = [check for check in off if check.file == track.file]
        if track.file not in unknown:
            lags = {check.value for check in mine} | ({0} if not any(map(_is_exact, mine)) else set())
            places += [(track.path, lag) for lag in sorted(lags)]
    paths, late_frames = tuple(path for path, _ in places), tuple(lag for _, lag in places)
    return Sides(against, paths, measured.sample_rate_hz, zero_s=measured.song.zero_s, late_frames=late_frames)


def _checked(measured: MeasuredSet, sides: Sides) -> Iterator[Check]:
    lags = find_lags(sides, measured.sounding) if sides.tracks else Lags(1.0, (), ())
    if not lags.fine:
        yield _nothing_shared(measured, lags, sides.mix)
    elif abs(lags.speed - 1) > _SAME_SPEED:
        yield _other_speed(lags, sides.mix)
    else:
        yield from _along_the_song(measured, lags.fine, sides)


def _decided(checks: Iterable[Check], unknown: Sequence[str], against: Path) -> Iterator[Check]:
    """Without those tracks: a distance, a cut or another take may be what the mix holds of them."""
    found = list(checks)
    if any(check.code in _MOVED_BY_ONE and not check.passed for check in found):
        words = f"Can't tell whether the set lines up with {against.name} while {', '.join(unknown)} lies elsewhere."
        found = [Check("lined-up", None, passed=True, limit=_LINED_UP_FRAMES, message=words, undecided=True)]
    yield from found


def _nothing_shared(measured: MeasuredSet, lags: Lags, against: Path) -> Check:
    """Another take, if there are drums in the mix; without any, nobody can tell."""
    share = float(np.median([fit.share for fit in lags.rough])) if lags.rough else 0.0
    if share < _STROKES_LIKE_THESE and not _holds_drums(measured, lags, against):
        words = f"Can't tell whether the set lines up with {against.name}: they have too little sound in common."
        return Check("lined-up", None, passed=True, limit=_LINED_UP_FRAMES, message=words, undecided=True)
    words = (
        f"{against.name} is not made of these tracks: they explain {100 * share:.0f} % of it, "
        "each place at another distance. It is another take, or another song."
    )
    return Check("same-take", None, passed=False, value=round(share, 3), message=words, place_s=lags.rough[0].time_s)


def _holds_drums(measured: MeasuredSet, lags: Lags, against: Path) -> bool:
    features = features_of(against) if lags.rough else None
    return ((drum_probability(features) if features else None) or 0.0) >= measured.limits.drums_likely


def _other_speed(lags: Lags, against: Path) -> Check:
    way = "faster" if lags.speed > 1 else "slower"
    words = (
        f"The set runs {lags.speed:.5f} times as fast as {against.name}, so it is {way}: "
        "most likely a wrong sample rate on the way."
    )
    return Check("speed", None, passed=False, value=round(lags.speed, 6), limit=1, message=words)


def _along_the_song(measured: MeasuredSet, fits: tuple[Fit, ...], sides: Sides) -> Iterator[Check]:
    against = sides.mix
    times, lags = times_and_lags(fits)
    line, jump = fit_line(times, lags), find_jump(times, lags)
    if jump is not None and jump.held > line.held + _BETTER_BROKEN:
        yield from _broken(jump, against, measured.sample_rate_hz)
    elif not holds(line):
        words = f"The set keeps no steady distance from {against.name}: parts of it are from another take."
        share = round(1 - line.held, 2)
        yield Check("same-take", None, passed=False, value=share, message=words, place_s=float(times[0]))
    else:
        yield from _straight(measured, fits, line, sides)


def _broken(jump: Jump, against: Path, sample_rate_hz: int) -> Iterator[Check]:
    before = jump.before_frames
    yield _lag(Line(before, 0.0, 0.0, before - TONE_FRAMES, before + TONE_FRAMES, jump.held), against)
    frames = jump.after_frames - jump.before_frames
    words = (
        f"From {seconds_as_clock(jump.time_s)} on the set is {_distance(frames)} than before, against {against.name}: "
        "something was cut out or put in there."
    )
    jump_ms = round(1000 * frames / sample_rate_hz, 2)
    yield Check("break", None, passed=False, value=jump_ms, limit=0, message=words, place_s=round(jump.time_s, 2))


def _straight(measured: MeasuredSet, fits: tuple[Fit, ...], line: Line, sides: Sides) -> Iterator[Check]:
    against = sides.mix
    length_s, rate_hz = fits[-1].time_s - fits[0].time_s, measured.sample_rate_hz
    drifts = abs(line.slope) * length_s > _DRIFT_FRAMES and abs(line.slope) > _DRIFT_ERRORS * line.slope_error
    ppm, error = 1e6 * line.slope / rate_hz, _NORMAL_95 * 1e6 * line.slope_error / rate_hz
    if not np.isfinite(error):
        yield _lag(line, against)
        words = f"Can't tell whether the set keeps its distance from {against.name}: they share one place only."
        yield Check("drift", None, passed=True, message=words, undecided=True)
        return
    if not drifts:
        yield _lag(line, against)
        yield _drift(ppm, error, f"The set runs with the clock of {against.name}.", passed=True)
        return
    at_speed = replace(sides, speed=1 / (1 + ppm / 1e6))
    again = follow(at_speed, replace(fits[0], lag_frames=line.at_start), measured.sounding)
    line = fit_line(*times_and_lags(again)) if len(again) > 1 else line
    yield _lag(line, against)
    ppm, error = ppm + 1e6 * line.slope / rate_hz, _NORMAL_95 * 1e6 * line.slope_error / rate_hz
    words = (
        f"The set runs {abs(ppm):.1f} parts in a million {'slower' if ppm > 0 else 'faster'} than {against.name}: "
        f"{written('_frames', round(abs(ppm) * length_s * rate_hz / 1e6))} over {seconds_as_clock(length_s)}."
    )
    yield _drift(ppm, error, words, passed=False)


def _drift(ppm: float, error: float, words: str, *, passed: bool) -> Check:
    return Check("drift", None, passed, round(ppm, 2), 0, words, low=round(ppm - error, 2), high=round(ppm + error, 2))


def _lag(line: Line, against: Path) -> Check:
    """In the middle of the song, or at its start where the clock runs off."""
    lag = round((line.low + line.high) / 2)
    words = f"The set is {_distance(lag)} than {against.name}." if lag else f"The set lines up with {against.name}."
    passed, limit = abs(lag) <= _LINED_UP_FRAMES, _LINED_UP_FRAMES
    return Check("lined-up", None, passed, lag, limit, words, low=round(line.low, 1), high=round(line.high, 1))


def _distance(frames: float) -> str:
    return f"{written('_frames', abs(round(frames)))} {'later' if frames > 0 else 'earlier'}"
