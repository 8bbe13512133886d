"""Constant or not: does the song gather on one grid once its own clock is followed, and on which kind of clock?

Music to one tempo gains nothing from following; music that moves gains much. A change of tempo at one place is told
from a drift by its two straight halves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.clock import Clock
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import fit_grid
from analysis.tempo.pulse import FASTEST_HZ, SLOWEST_HZ, comb, onset_curve, spectrum_of
from analysis.tempo.tempo_path import TempoPath, follow, lock

# House choices. How much more the song gathers on its own clock than on the
# files' before it counts as moving; the spread of a steady pulse, as a share; the least and most change of a step and
# what each side of it needs; how much of a drift's gain a step must reach to be preferred.
_LEAST_GAIN = 1.2
_STEADY_SHARE = 0.006
_LEAST_STEP, _MOST_STEP = 0.012, 0.3
_LEAST_SIDE_S = 6.0
_STEP_PREFERENCE = 0.93
# The clock is bent in knots this far apart, smoothed over the reach, by attacks near their places (house choices).
_REFINE_BIN_S = 0.25
_REFINE_REACH_S = 1.6
_REFINE_ROUNDS = 3
_REFINE_NEAR_S = 0.06


@dataclass(frozen=True)
class Motion:
    """`clock` is None for steady music. For a step, `step_s` is its place."""

    kind: Literal["steady", "drift", "step"]
    clock: Clock | None = None
    step_s: float | None = None


def find_motion(evidence: Evidence) -> Motion:
    """Whether the song's tempo moves, and the clock that follows it.

    Parameters
    ----------
    evidence : Evidence
        In the files' time.

    Returns
    -------
    Motion
        "steady" also where the song is too short to follow (less than 16 s).
    """
    path = follow(evidence)
    if path is None:
        return Motion("steady")
    if _spread(np.log(path.hz)) < _STEADY_SHARE / 4 and np.ptp(np.log(path.hz)) < 2 * _STEADY_SHARE:
        return Motion("steady")
    steady = _comb_height(evidence)
    smooth = _refined(evidence, lock(evidence, path))
    gain = _comb_height(evidence.warped(smooth.to_even)) / max(steady, 1e-9)
    stepped = _step(evidence, path)
    step_gain = _comb_height(evidence.warped(stepped[0].to_even)) / max(steady, 1e-9) if stepped else 0.0
    if max(gain, step_gain) < _LEAST_GAIN:
        return Motion("steady")
    if stepped and step_gain > _STEP_PREFERENCE * gain:
        return Motion("step", stepped[0], stepped[1])
    return Motion("drift", smooth)


def _comb_height(evidence: Evidence) -> float:
    """Height of the strongest comb in the song's onset spectrum."""
    curve = onset_curve(evidence)
    if len(curve) < 2:
        return 0.0
    spectrum = spectrum_of(curve)
    return float(comb(spectrum, np.arange(SLOWEST_HZ, FASTEST_HZ, spectrum.step_hz / 2)).max())


def _spread(values: Doubles) -> float:
    return float(np.median(np.abs(values - np.median(values))))


def _refined(evidence: Evidence, clock: Clock) -> Clock:
    """Bend the clock until onsets lie on their places in the pulse, as finely as a second or two allows."""
    for _ in range(_REFINE_ROUNDS):
        warped = evidence.warped(clock.to_even)
        period_s = _strongest_period_s(warped)
        fit = fit_grid(warped, period_s) if period_s else None
        if fit is None:
            return clock
        places = np.array([place.offset_s for place in fit.places])
        apart = (warped.onset_s[:, None] - places[None, :]) / fit.period_s
        residual = (apart + 0.5) % 1 - 0.5
        nearest = np.take_along_axis(residual, np.abs(residual).argmin(axis=1)[:, None], 1)[:, 0] * fit.period_s
        clock = _bent(clock, evidence.onset_s, nearest, np.sqrt(evidence.onset_weight))
    return clock


def _bent(clock: Clock, onset_s: Doubles, late_s: Doubles, weights: Doubles) -> Clock:
    """Take out what the onsets are late by, smoothed over time."""
    knots = np.arange(clock.real_s[0], clock.real_s[-1] + _REFINE_BIN_S, _REFINE_BIN_S)
    near = np.abs(late_s) < _REFINE_NEAR_S
    trust = weights * near / (1 + (late_s / 0.02) ** 2)
    bins = np.clip(np.rint((onset_s - knots[0]) / _REFINE_BIN_S).astype(np.intp), 0, len(knots) - 1)
    reach = np.arange(-16, 17) * _REFINE_BIN_S
    kernel = np.exp(-0.5 * (reach / _REFINE_REACH_S) ** 2)
    size = len(knots)
    mass = np.convolve(np.bincount(bins, trust, size), kernel, "same")[:size]
    moved = np.convolve(np.bincount(bins, trust * late_s, size), kernel, "same")[:size]
    even = clock.to_even(knots) - moved / np.maximum(mass, 1e-6)
    return Clock.from_phase(knots, even)


def _strongest_period_s(evidence: Evidence) -> float | None:
    curve = onset_curve(evidence)
    if len(curve) < 2:
        return None
    spectrum = spectrum_of(curve)
    hz = np.arange(SLOWEST_HZ, FASTEST_HZ, spectrum.step_hz / 2)
    return float(1 / hz[np.argmax(comb(spectrum, hz))])


def _step(evidence: Evidence, path: TempoPath) -> tuple[Clock, float] | None:
    """Two straight halves, each with its own exact tempo, joined where their beats meet."""
    split = _split(path)
    if split is None:
        return None
    at_s, left_hz, right_hz = split
    left = _side(evidence, left_hz, -np.inf, at_s - 1.5)
    right = _side(evidence, right_hz, at_s + 1.5, np.inf)
    if left is None or right is None:
        return None
    (left_period, left_s), (right_period, right_s) = left, right
    # Beat n of the left grid is left_s + n * left_period; the right grid counts on from some beat k of it.
    guess = (at_s - left_s) / left_period - (at_s - right_s) / right_period
    best = min(
        (round(guess) + shift for shift in (-1, 0, 1)),
        key=lambda k: abs(_meeting(left_s, left_period, right_s, right_period, k) - at_s),
    )
    meet_s = _meeting(left_s, left_period, right_s, right_period, best)
    if abs(meet_s - at_s) > 6 * max(left_period, right_period):
        return None
    ends = np.array([evidence.frame_s[0], meet_s, max(evidence.frame_s[-1], meet_s + 1)])
    if not ends[0] < meet_s:
        return None
    beats = (meet_s - left_s) / left_period
    counted = np.array([(ends[0] - left_s) / left_period, beats, beats + (ends[2] - meet_s) / right_period])
    return Clock.from_phase(ends, counted), meet_s


def _meeting(left_s: float, left_period: float, right_s: float, right_period: float, k: int) -> float:
    """When both grids count the same beat, the right one's first beat being the left one's beat k."""
    # (t - left_s) / left_period = (t - right_s) / right_period + k
    return (k + left_s / left_period - right_s / right_period) / (1 / left_period - 1 / right_period)


def _split(path: TempoPath) -> tuple[float, float, float] | None:
    """Where the path is best cut into two flat halves: time, pulse before, pulse after; None when it is not flat."""
    log = np.log(path.hz)
    side = int(_LEAST_SIDE_S)
    best: tuple[float, int] | None = None
    for cut in range(side, len(log) - side):
        cost = float(np.abs(log[:cut] - np.median(log[:cut])).sum() + np.abs(log[cut:] - np.median(log[cut:])).sum())
        if best is None or cost < best[0]:
            best = (cost, cut)
    if best is None:
        return None
    cut = best[1]
    left, right = float(np.median(log[:cut])), float(np.median(log[cut:]))
    if not _LEAST_STEP < abs(right - left) < _MOST_STEP:
        return None
    if _spread(log[:cut]) > 2 * _STEADY_SHARE or _spread(log[cut:]) > 2 * _STEADY_SHARE:
        return None
    return float(path.times_s[cut]) - 0.5, float(np.exp(left)), float(np.exp(right))


def _side(evidence: Evidence, hz: float, start_s: float, end_s: float) -> tuple[float, float] | None:
    """Exact pulse period of one stretch, and the time of one pulse in it."""
    frames = (evidence.frame_s >= start_s) & (evidence.frame_s <= end_s)
    onsets = (evidence.onset_s >= start_s) & (evidence.onset_s <= end_s)
    if frames.sum() < 300 or onsets.sum() < 8:
        return None
    part = replace(
        evidence,
        frame_s=evidence.frame_s[frames],
        strength=evidence.strength[frames],
        onset_s=evidence.onset_s[onsets],
        onset_weight=evidence.onset_weight[onsets],
        onset_is_bass=evidence.onset_is_bass[onsets],
        onset_file=evidence.onset_file[onsets],
        onset_sharpness=evidence.onset_sharpness[onsets],
    )
    near = np.linspace(hz * 0.985, hz * 1.015, 301)
    fit = fit_grid(part, float(1 / near[np.argmax(comb(spectrum_of(onset_curve(part)), near))]))
    return (fit.period_s, fit.places[0].offset_s) if fit else None
