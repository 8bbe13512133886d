"""The tempo that was set: a round value where the measurement supports it, else the value measured.

People set whole tempi far more often than others. Bayes' rule with the fit's own error decides: a round value a few
errors away stays unlikely however popular it is, and a coarse measurement does not become exact by being near one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from analysis.maps.tempo_map import exact, round_half_up

# Share of songs set to a whole tempo, to a half or a tenth, to a hundredth; the rest is anything (house estimate).
_SHARE_BY_STEP = ((Fraction(1), 0.6), (Fraction(1, 2), 0.06), (Fraction(1, 10), 0.06), (Fraction(1, 100), 0.18))
_SHARE_OF_REST = 0.10
# The brief's tempo is as likely as all others together; no measurement is surer than the last number (house choices).
_STATED_SHARE = 1.0
_LEAST_ERROR_BPM = 0.0004
# Half of the interval, in errors: with the round value kept inside, 95 of 100 true tempi lie in it (measured).
_INTERVAL_ERRORS = 1.3


@dataclass(frozen=True)
class SetTempo:
    """The tempo to use, exact; the interval that holds the true one in 95 of 100 songs; the round value's odds."""

    bpm: Fraction
    low: float
    high: float
    share: float


def set_tempo(measured_bpm: float, error_bpm: float, *, stated_bpm: float | None = None) -> SetTempo:
    """Choose between the measured value, round ones near it, and the one that the brief states."""
    error = max(error_bpm, _LEAST_ERROR_BPM)
    raw = Fraction(round_half_up(Fraction(measured_bpm) * 10_000), 10_000)
    candidates = {raw: _SHARE_OF_REST}
    for step, share in _SHARE_BY_STEP:
        near = round_half_up(Fraction(measured_bpm) / step) * step
        odds = share * float(step) * _density(float(near) - measured_bpm, error)
        candidates[near] = candidates.get(near, 0.0) + odds
    if stated_bpm:
        odds = _STATED_SHARE * _density(stated_bpm - measured_bpm, error)
        candidates[exact(stated_bpm)] = candidates.get(exact(stated_bpm), 0.0) + odds
    best = max(candidates, key=lambda value: candidates[value])
    reach = _INTERVAL_ERRORS * error
    low, high = measured_bpm - reach, measured_bpm + reach
    return SetTempo(best, min(low, float(best)), max(high, float(best)), candidates[best] / sum(candidates.values()))


def _density(distance: float, error: float) -> float:
    return math.exp(-0.5 * (distance / error) ** 2) / (error * math.sqrt(2 * math.pi))
