"""An ending that slows down: steady up to some beat near the end, then slower beat by beat.

The whole song's grid hides it, because a few late notes weigh little; so the tail is looked at by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.clock import Clock
from analysis.tempo.evidence import Evidence

# The tail that is looked at, and the longest and shortest slowing looked for in it, in beats (house choices).
_TAIL_BEATS = 24
_LONGEST_BEATS, _SHORTEST_BEATS = 17, 2
# How much slower each beat gets, as a share of the tempo: a finer grid where slowing is slight (house choice).
_SLOWING = np.concatenate([np.arange(0.012, 0.05, 0.003), np.arange(0.05, 0.125, 0.008)])
# House choices: an onset fits within this spread, nothing slows to less
# than this share of the tempo, a place in the beat counts from this share of the fit, and fewer onsets say nothing.
_NEAR_S = 0.018
_SLOWEST = 0.45
LEAST_PLACE = 0.03
_LEAST_ONSETS = 5
# Gain from which a tail counts as slowing; measured on songs of both kinds: 1 in 400 steady ones reaches it.
_LEAST_GAIN = 0.265
# The gain of a tail with fewer moments than this counts for less; onsets within the second are one moment (house
# choices).
_USUAL_EVENTS = 8
_EVENT_S = 0.05


@dataclass(frozen=True)
class Slowing:
    """From `start_s` on, each beat is slower by `per_beat`; `gain` is how much better the tail's onsets fit so."""

    start_s: float
    per_beat: float
    gain: float


def find_slowing(evidence: Evidence, period_s: float, places_s: Doubles) -> Slowing | None:
    """The best slowing tail, if it fits clearly better than the steady grid.

    Parameters
    ----------
    evidence : Evidence
        With at least one onset.
    period_s : float
        Beat period of the steady part.
    places_s : float64 array, shape (n_places,)
        Seconds: the time of a beat first, then of other places within the beat where onsets gather.

    Returns
    -------
    Slowing or None
        None when the song is steady to its end, or has too few onsets there to tell.
    """
    last_s = float(evidence.onset_s[-1])
    tail = evidence.onset_s > last_s - _TAIL_BEATS * period_s
    times, weights = evidence.onset_s[tail], np.sqrt(evidence.onset_weight[tail])
    if tail.sum() < _LEAST_ONSETS:
        return None
    steady = _fit(times / period_s, places_s / period_s, period_s)
    best: Slowing | None = None
    last_beat = np.floor((last_s - places_s[0]) / period_s)
    for back in np.arange(_SHORTEST_BEATS, _LONGEST_BEATS + 1):
        start_s = float(places_s[0] + (last_beat - back + 1) * period_s)
        after = times >= start_s - 0.1 * period_s
        if after.sum() < _LEAST_ONSETS or weights[after].sum() <= 0:
            continue
        for per_beat in _SLOWING:
            if per_beat * _slowed_beats(np.array([last_s - start_s]), period_s, float(per_beat))[0] > 1 - _SLOWEST:
                break
            beats = start_s / period_s + _slowed_beats(times[after] - start_s, period_s, float(per_beat))
            slowed = _fit(beats, places_s / period_s, period_s)
            gain = float((weights[after] * (slowed - steady[after])).sum() / weights[after].sum())
            gain *= float(np.sqrt(len(np.unique(np.rint(times[after] / _EVENT_S))) / _USUAL_EVENTS))
            if gain > (best.gain if best else _LEAST_GAIN):
                best = Slowing(start_s, float(per_beat), gain)
    return best


def _slowed_beats(since_s: Doubles, period_s: float, per_beat: float) -> Doubles:
    """Beats passed when each is slower by `per_beat` of the tempo than the one before; plain before the start."""
    slow = np.maximum(since_s, 0)
    slowest_s = -np.log(_SLOWEST) * period_s / per_beat
    beats = (1 - np.exp(-per_beat * np.minimum(slow, slowest_s) / period_s)) / per_beat
    beats = beats + np.maximum(slow - slowest_s, 0) * _SLOWEST / period_s
    return np.where(since_s > 0, beats, since_s / period_s)


def _fit(beats: Doubles, places: Doubles, period_s: float) -> Doubles:
    """How well each onset lies on a place within the beat, 0 to 1."""
    apart = (beats[:, None] - places[None, :] + 0.5) % 1 - 0.5
    near = np.exp(-0.5 * (apart * period_s / _NEAR_S) ** 2)
    fit: Doubles = near.max(axis=1)
    return fit


def slowing_clock(evidence: Evidence, period_s: float, slowing: Slowing) -> Clock:
    """The song's clock with that tail: even beats of `period_s` to two beats past the last sound."""
    end_s = float(max(evidence.frame_s[-1], evidence.onset_s[-1])) + 2 * period_s
    knots = np.concatenate([[float(evidence.frame_s[0])], np.arange(slowing.start_s, end_s, period_s / 8)])
    even = slowing.start_s + _slowed_beats(knots - slowing.start_s, period_s, slowing.per_beat) * period_s
    rising = np.maximum.accumulate(even + np.arange(len(even)) * 1e-7)
    return Clock(knots, rising)
