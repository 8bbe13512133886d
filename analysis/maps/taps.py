"""A tempo from a person's taps, and from taps and measurement together.

People tap with a spread of 10 to 25 ms, leave taps out and hit twice. A line through the taps' places gives the beat,
its interval what so many taps can support: with 16 taps of 20 ms at 120 BPM that is half a BPM to each side, far too
coarse for a click. So the taps choose among the measured readings (which octave, on the beat or off it), and the
measurement gives the decimals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Indices

# A line through fewer has no interval worth showing (house choice).
_FEWEST_TAPS = 4
_SLOWEST_S, _FASTEST_S = 3.0, 0.12  # between two taps: nobody taps the felt beat slower or faster (house choice)
# A tap further from the line than this share of a beat was a slip, not part of the count (house choice).
_SLIP = 0.3
_SURE = 0.95  # coverage of the interval (house choice)
# A reading is what was tapped when it lies within the taps' interval, or this close to it (house choice).
_SAME = 0.02
_NEAR_SPREADS = 3  # usual distances from the line within which a tap is trusted (house choice)
_ROUNDS = 4  # of counting anew and fitting again (house choice)
_HALF_WAY = (0.25, 0.75)  # of a beat: nearer to the middle than to either beat (arithmetic)
# Levels of one pulse at which people tap (house choice).
_LEVELS = (1.0, 0.5, 2.0, 1 / 3, 3.0, 2 / 3, 1.5)


@dataclass(frozen=True)
class TappedTempo:
    """The beat's tempo with its interval, the place of a beat amid the taps on their clock, and the taps' spread
    (standard deviation) around the line; `used` taps of those `given` count."""

    bpm: float
    bpm_low: float
    bpm_high: float
    beat_at_s: float
    spread_ms: float
    used: int
    given: int


def fit_taps(taps_s: Sequence[float], *, taps_per_beat: int = 1) -> TappedTempo | None:
    """None for too few taps, or taps that keep no count."""
    taps = np.unique(np.asarray(taps_s, np.float64))
    if len(taps) < _FEWEST_TAPS:
        return None
    apart_s = _usual_gap_s(np.diff(taps))
    if not _FASTEST_S <= apart_s <= _SLOWEST_S:
        return None
    places = _count(taps, apart_s)
    start_s, step_s = float(taps[0]), apart_s
    for _ in range(_ROUNDS):
        kept = _one_a_place(taps, places, start_s, step_s)
        if len(kept) < _FEWEST_TAPS:
            return None
        step_s, start_s = (float(value) for value in np.polyfit(places[kept], taps[kept], 1))
        places = np.rint((taps - start_s) / step_s).astype(int)
    kept = _one_a_place(taps, places, start_s, step_s)
    return _with_interval(taps[kept], places[kept], start_s, step_s, per_beat=taps_per_beat, given=len(taps_s))


def _usual_gap_s(gaps_s: Doubles) -> float:
    """The gap that most others repeat: a missed tap doubles one gap, a slip splits one."""
    near = np.abs(np.log(gaps_s[:, None] / gaps_s[None, :])) < np.log(1 + _SLIP)
    leader = int(near.sum(axis=1).argmax())
    return float(np.median(gaps_s[near[leader]]))


def _count(taps: Doubles, apart_s: float) -> Indices:
    """Which beat each tap stands for, going from tap to tap: an unsteady start cannot throw the rest off."""
    return np.concatenate([[0], np.cumsum(np.rint(np.diff(taps) / apart_s))]).astype(int)


def _one_a_place(taps: Doubles, places: Indices, start_s: float, step_s: float) -> Indices:
    """Indices of the taps to trust: near the line, and of two on one beat the nearer."""
    off = np.abs(taps - start_s - places * step_s)
    order = np.lexsort((off, places))
    first = order[np.concatenate([[True], np.diff(places[order]) > 0])]
    reach = max(_SLIP * step_s * 0.5, _NEAR_SPREADS * float(np.median(off[first])))
    return np.sort(first[off[first] <= reach])


def _with_interval(
    taps: Doubles, places: Indices, start_s: float, step_s: float, *, per_beat: int, given: int
) -> TappedTempo | None:
    from scipy.special import stdtrit

    if len(taps) < _FEWEST_TAPS or step_s <= 0:
        return None
    left = taps - start_s - places * step_s
    spread_s = float(np.sqrt(left @ left / (len(taps) - 2)))
    error_s = spread_s / float(np.sqrt(((places - places.mean()) ** 2).sum()))
    reach_s = min(float(stdtrit(len(taps) - 2, (1 + _SURE) / 2)) * error_s, 0.5 * step_s)
    bpm_of = 60.0 / per_beat
    return TappedTempo(
        bpm=bpm_of / step_s,
        bpm_low=bpm_of / (step_s + reach_s),
        bpm_high=bpm_of / (step_s - reach_s),
        beat_at_s=start_s + step_s * float(np.rint(places.mean())),
        spread_ms=1000 * spread_s,
        used=len(taps),
        given=given,
    )


def measured_at(tapped: TappedTempo, measured_bpms: Sequence[float]) -> float | None:
    """The tempo that was tapped: the first of those measured, one of its levels, or another reading as it is. None when
    nothing measured is what was tapped."""
    low, high = tapped.bpm_low * (1 - _SAME), tapped.bpm_high * (1 + _SAME)
    levels = [bpm * level for bpm in measured_bpms[:1] for level in _LEVELS]
    return next((bpm for bpm in (*levels, *measured_bpms[1:]) if low <= bpm <= high), None)


def is_off_beat(tapped: TappedTempo, beats_s: Sequence[float], *, one_s: float, level: float = 1.0) -> bool:
    """Whether the taps lie half-way between the beats at their level: `level` tapped beats to each of `beats_s`,
    counted from `one_s`, all on the taps' clock. Before the first beat and after the last nothing is off."""
    if not len(beats_s) or not beats_s[0] <= tapped.beat_at_s <= beats_s[-1]:
        return False
    at, one = np.interp([tapped.beat_at_s, one_s], beats_s, np.arange(len(beats_s)))
    return bool(_HALF_WAY[0] < (at - one) * level % 1 < _HALF_WAY[1])
