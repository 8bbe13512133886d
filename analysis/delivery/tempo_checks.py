"""Do the drums keep the map's tempo, all along the song? Another song, another tempo, a wrong rate and a cut show here.

Nothing is said to be right without evidence: where the strokes show no tempo, nobody can tell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.sentences import written
from analysis.core.units import seconds_as_clock
from analysis.delivery.check_results import Check
from analysis.delivery.map_tempo import Stretch, played_tempo, stretches
from analysis.delivery.mix_lags import RATE_RATIOS
from analysis.delivery.own_strokes import Strokes
from analysis.delivery.steadiness import Steadiness, astray, steadiness_of
from analysis.maps.tempo_map import TempoMap

# Over a stretch a player may drift by less than this against the click; more, and surely more, is another tempo
# (house choices: an eighth of a second is a note missed, and players follow a click to a few milliseconds).
_DRIFTS_S, _SURE_ERRORS = 0.035, 3.0
# A jump from here on is no playing (house choice).
_JUMPS_S = 0.02
# Ratios of rates are recognised within 0.05 % (trade practice), or what loose strokes and a player's drift over the
# stretch allow, up to 0.2 % (house choice).
_RATE_TOLERANCE, _WIDEST_TOLERANCE = 0.0005, 0.002
_NORMAL_95 = 1.96
# A clock that is off by less than this at the end of the song is no fault that anyone hears (house choice).
_HEARD_MS = 10.0


def tempo_checks(strokes: Strokes, tempo_map: TempoMap) -> list[Check]:
    """At least one check. The drums keep the map's tempo when all pass and none is undecided."""
    parts = stretches(strokes.times_s, tempo_map)
    checks = [check for part in parts for check in _of_stretch(part)]
    if any(check.passed and not check.undecided for check in checks):
        # A wrong rate would be heard in every stretch.
        checks = [check for part in parts for check in _of_stretch(part, rates=())]
    wrong = [check for check in checks if not check.passed]
    unclear = [check for check in checks if check.undecided]
    if wrong:
        return wrong
    if not checks or unclear:
        return unclear[:1] or [_cannot_tell("there are too few hits to compare")]
    return checks if len(checks) == 1 else [_kept_throughout(checks)]


def _of_stretch(part: Stretch, rates: Sequence[float] = RATE_RATIOS) -> Iterator[Check]:
    factor = played_tempo(part.beats, part.bpm, in_thirds=part.in_thirds)
    if factor is None:
        yield _cannot_tell(f"the hits{_place(part)} show no tempo", part)
        return
    steady = steadiness_of(part, factor)
    if abs(steady.jump_s) > _JUMPS_S:
        yield _broken(steady)
    elif abs(steady.slope) * float(part.times_s[-1] - part.times_s[0]) <= _DRIFTS_S:
        at_s = astray(part) if part.inner_s else None
        why = f"the hits from {seconds_as_clock(at_s or 0.0)} on are too few to show another tempo than the map's"
        yield _kept(part, steady) if at_s is None else _cannot_tell(why, part)
    elif abs(steady.slope) > _SURE_ERRORS * steady.slope_error:
        yield _other_tempo(part, steady, rates)
    else:
        yield _cannot_tell(f"the hits{_place(part)} are too loose", part)


def _bpm(part: Stretch, slope: float) -> float:
    return part.bpm / (1 + slope)


def _kept(part: Stretch, steady: Steadiness) -> Check:
    bpm, half = _bpm(part, steady.slope), _NORMAL_95 * steady.slope_error * part.bpm
    words = f"The drums keep the tempo of the map: {bpm:.2f} BPM{_place(part)}, {part.bpm:.2f} in the map."
    low, high = round(bpm - half, 3), round(bpm + half, 3)
    return Check("tempo", None, passed=True, value=round(bpm, 3), limit=part.bpm, message=words, low=low, high=high)


def _kept_throughout(checks: list[Check]) -> Check:
    words = f"The drums keep the tempi of the map, in all {len(checks)} stretches of it."
    return Check("tempo", None, passed=True, value=checks[0].value, limit=checks[0].limit, message=words)


def _other_tempo(part: Stretch, steady: Steadiness, rates: Sequence[float]) -> Check:
    bpm, half = _bpm(part, steady.slope), _NORMAL_95 * steady.slope_error * part.bpm
    factor = 1 / (1 + steady.slope)
    place_s, passed = round(float(part.times_s[0]), 2), False
    drifts = _DRIFTS_S / float(np.ptp(part.times_s))
    near = min(max(_RATE_TOLERANCE, 2 * steady.slope_error, drifts), _WIDEST_TOLERANCE)
    ratio = next((speed for speed in rates if abs(factor / speed - 1) <= near), None)
    if ratio is not None:
        words = (
            f"The drums run {ratio:.5f} times as fast as the map ({bpm:.2f} BPM, {part.bpm:.2f} in the map): "
            "most likely a wrong sample rate on the way, else another song's take."
        )
        return Check("speed", None, passed=False, value=round(factor, 5), limit=1, message=words, place_s=place_s)
    off = abs(steady.slope) * float(part.times_s[-1] - part.times_s[0])
    words = (
        f"The drums are played at {bpm:.2f} BPM{_place(part)}, the map says {part.bpm:.2f}: "
        f"{written('_s', round(off, 2))} apart at the end. It is another song's take, or another tempo's."
    )
    low, high = round(bpm - half, 3), round(bpm + half, 3)
    return Check("tempo", None, passed, round(bpm, 3), part.bpm, words, low=low, high=high, place_s=place_s)


def _broken(steady: Steadiness) -> Check:
    jump_ms = round(1000 * steady.jump_s, 1)
    words = (
        f"From {seconds_as_clock(steady.jump_at_s)} on the drums are {written('_ms', abs(jump_ms))} "
        f"{'later' if jump_ms > 0 else 'earlier'} against the map than before: something was cut out or put in there."
    )
    return Check("break", None, passed=False, value=jump_ms, limit=0, message=words, place_s=round(steady.jump_at_s, 2))


def _cannot_tell(why: str, part: Stretch | None = None) -> Check:
    words = f"Can't tell whether the drums keep the tempo of the map: {why}."
    place_s = round(float(part.times_s[0]), 2) if part else None
    return Check("tempo", None, passed=True, message=words, undecided=True, place_s=place_s)


def _place(part: Stretch) -> str:
    return f" from {seconds_as_clock(part.start_s)} on" if part.start_s > 0 else ""


def clock_by_map(tempo: Check, length_s: float) -> Check:
    """What a tempo that was measured against the map leaves open of the clock, over a song of this length."""
    if tempo.undecided or tempo.low is None or tempo.high is None:
        return _no_clock("the hits do not show one tempo all along the song")
    low, value, high = (1e6 * (tempo.limit / bpm - 1) for bpm in (tempo.high, tempo.value, tempo.low))
    per_ppm_ms = length_s / 1000
    if max(abs(low), abs(high)) * per_ppm_ms > _HEARD_MS:
        words = f"the hits leave room for {low:.0f} to {high:.0f} parts in a million, players drift as much"
        return _no_clock(words, low, high)
    words = f"Against the map the clock is at most {written('_ms', round(_HEARD_MS))} off at the end of the song."
    limit = round(_HEARD_MS / per_ppm_ms, 1)
    ppm, low, high = (round(one, 1) for one in (value, low, high))
    return Check("drift", None, passed=True, value=ppm, limit=limit, message=words, low=low, high=high)


def _no_clock(why: str, low: float | None = None, high: float | None = None) -> Check:
    words = f"Can't tell whether the clock runs true without a mix of the same playing: {why}."
    ends = {"low": None if low is None else round(low, 1), "high": None if high is None else round(high, 1)}
    return Check("drift", None, passed=True, message=words, undecided=True, **ends)
