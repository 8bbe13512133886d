"""Lags along a song as one figure: a constant, a slope, or two stretches with a jump between them.

Tested in `tests/analysis/delivery/test_line_up.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles

# 95 in 100 of a normal distribution lie within so many of its standard deviations; a median's error re a mean's.
_NORMAL_95 = 1.96
# A line holds when so many windows lie within so many frames of it; each part of a broken one must hold more
# (house choices).
_NEAR_FRAMES, _LEAST_SHARE, _LEAST_SHARE_IN_PARTS = 3.0, 0.6, 0.8
_LEAST_IN_A_PART = 2
# A lag is read to a tenth of a frame at best (derived). A mixer's tone controls move it by a fraction of a frame that
# nobody knows: by up to 1.6 on the bench's mixes.
_READING_FRAMES, TONE_FRAMES = 0.1, 2.0


@dataclass(frozen=True)
class Line:
    """`at_start`: the lag at the file's start; `slope`: frames a second; `low`, `high`: 95 in 100 of the lag in the
    middle of the windows; `slope_error`: its standard error. `held`: the share of windows that lie on it."""

    at_start: float
    slope: float
    slope_error: float
    low: float
    high: float
    held: float


@dataclass(frozen=True)
class Jump:
    """`held`: the share of windows that lie on the two levels."""

    time_s: float
    before_frames: float
    after_frames: float
    held: float


def fit_line(times_s: Doubles, lags: Doubles) -> Line:
    """A line through most windows: its slope by the median of all pairs, then least squares over what lies near."""
    slope = _median_slope(times_s, lags)
    middle = float(np.median(lags - slope * times_s))
    near = np.abs(lags - slope * times_s - middle) <= _NEAR_FRAMES
    if near.sum() < 2 or np.ptp(times_s[near]) == 0.0:
        return Line(middle, 0.0, np.inf, middle - TONE_FRAMES, middle + TONE_FRAMES, float(near.mean()))
    time, lag = times_s[near], lags[near]
    centre = float(time.mean())
    slope, level = (float(value) for value in np.polyfit(time - centre, lag, 1))
    rest = lag - level - slope * (time - centre)
    scatter = max(float(np.sqrt((rest**2).sum() / max(len(lag) - 2, 1))), _READING_FRAMES)
    slope_error = scatter / float(np.sqrt(((time - centre) ** 2).sum()))
    half = max(_NORMAL_95 * scatter / np.sqrt(len(lag)), TONE_FRAMES)
    return Line(level - slope * centre, slope, slope_error, level - half, level + half, float(near.mean()))


def _median_slope(times_s: Doubles, lags: Doubles) -> float:
    first, second = np.triu_indices(len(times_s), 1)
    apart = times_s[second] - times_s[first]
    far = apart >= np.quantile(apart, 0.3) if len(apart) else np.zeros(0, bool)
    return float(np.median((lags[second] - lags[first])[far] / apart[far])) if far.any() else 0.0


def find_jump(times_s: Doubles, lags: Doubles) -> Jump | None:
    """Two levels with a jump between them, where each holds nearly all of its own windows."""
    best: Jump | None = None
    for split in range(_LEAST_IN_A_PART, len(lags) - _LEAST_IN_A_PART + 1):
        levels = [float(np.median(part)) for part in (lags[:split], lags[split:])]
        held = [_held(part, level) for part, level in zip((lags[:split], lags[split:]), levels, strict=True)]
        if min(held) < _LEAST_SHARE_IN_PARTS or abs(levels[1] - levels[0]) <= _NEAR_FRAMES:
            continue
        whole = (held[0] * split + held[1] * (len(lags) - split)) / len(lags)
        if best is None or whole > best.held:
            best = Jump(float(times_s[split]), levels[0], levels[1], whole)
    return best


def _held(lags: Doubles, level: float) -> float:
    return float((np.abs(lags - level) <= _NEAR_FRAMES).mean())


def holds(line: Line) -> bool:
    return line.held >= _LEAST_SHARE
