"""Attacks: rises of energy that the spectrum confirms as new sounds.

The energy's rise places an onset finely but also follows every ripple of a held note; the spectrum's rise tells new
notes from ripples but smears their place. Each peak of the spectrum's rise takes the strongest rise of energy near it.
All numbers here are house choices, made on songs whose truth is known (docs/tempo.md says how it comes out).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags, Indices
from analysis.features.feature_arrays import Features

# Peaks of the spectrum's rise: frames to the next, frames of background, how far above it, and how strong at least.
_APART_FRAMES = 4
_BACKGROUND_FRAMES = 50
_LEAST_OVER_BACKGROUND = 1.5
_LEAST_RE_STRONG = 0.05
# A strong rise is one at this quantile of the file; nothing weighs more than this many of it.
_STRONG_QUANTILE = 0.9
_MOST_RE_STRONG = 1.5
_LOW_BANDS = 2  # of `bands.BAND_EDGES_HZ`: where bass notes are looked for
# Where the fine onset may lie, re the peak of the spectrum's rise.
_EARLIEST_S, _LATEST_S = -0.045, 0.035
# A rise starts where it has come this share of its way; how far it may reach, and how much must rise to be clear.
_RISE_START = 0.15
_REACH_S = 0.05
_LEAST_RISE = 1.3
_SMOOTH_STEPS = 5  # milliseconds over which the level is averaged
# An attack that takes this long from its start to its steepest is half as good a clock; bass notes are poor ones.
_SOFT_RISE_S = 0.008
_BASS_SHARPNESS = 0.25


@dataclass(frozen=True)
class Attacks:
    """All attacks of a file in order of time; each array has shape (n,).

    `times_s` counts from the start of the file. `weight` is the rise of the spectrum: 1 is a strong one of this file.
    `sharpness` says how good a clock it is: 1 for an attack that is steepest at its start, less the longer it rises.
    """

    times_s: Doubles
    weight: Doubles
    is_bass: Flags
    sharpness: Doubles


def attacks_of(features: Features) -> Attacks:
    """Find the attacks of one file; empty arrays when there are none."""
    steepest, weight = _confirmed(features, is_bass=False)
    bass_s, bass_weight = _confirmed(features, is_bass=True)
    starts = _starts_of(features, steepest)
    sharpness = 1 / (1 + (np.maximum(steepest - starts, 0) / _SOFT_RISE_S) ** 2)
    times = np.concatenate([starts, bass_s])
    order = np.argsort(times, kind="stable")
    return Attacks(
        times_s=times[order],
        weight=np.concatenate([weight, bass_weight])[order],
        is_bass=np.repeat([False, True], [len(starts), len(bass_s)])[order],
        sharpness=np.concatenate([sharpness, np.full(len(bass_s), _BASS_SHARPNESS)])[order],
    )


def _confirmed(features: Features, *, is_bass: bool) -> tuple[Doubles, Doubles]:
    strength = features.onset_strength[:, :_LOW_BANDS] if is_bass else features.onset_strength
    rise = strength.sum(axis=1).astype(np.float64)
    fine = features.fine
    mine = (fine.band == 1) == is_bass
    times, strong = fine.times_s[mine], fine.strength[mine]
    peaks = _peaks(rise)
    if not len(peaks) or not len(times):
        return np.zeros(0), np.zeros(0)
    weight = np.minimum(rise[peaks] / np.quantile(rise[peaks], _STRONG_QUANTILE), _MOST_RE_STRONG)
    peaks, weight = peaks[weight > _LEAST_RE_STRONG], weight[weight > _LEAST_RE_STRONG]
    at_s = peaks / features.band_rate_hz
    low, high = np.searchsorted(times, at_s + _EARLIEST_S), np.searchsorted(times, at_s + _LATEST_S)
    found: list[tuple[float, float]] = []
    taken = -1
    for peak, (earliest, last) in enumerate(zip(low, high, strict=True)):
        first = max(int(earliest), taken + 1)
        if last > first:
            best = first + int(np.argmax(strong[first:last]))
            found.append((float(times[best]), float(weight[peak])))
            taken = best
    rows = np.array(found).reshape(-1, 2)
    return rows[:, 0], rows[:, 1]


def _starts_of(features: Features, times_s: Doubles) -> Doubles:
    """Move each onset from its steepest rise back to where the rise starts: soft attacks are slow."""
    level = _level(features.energy_1ms.astype(np.float64))
    reach = int(_REACH_S * features.energy_rate_hz)
    at = (times_s * features.energy_rate_hz).astype(np.intp)
    steps = np.arange(-reach, reach)
    around = level[np.clip(at[:, None] + steps, 0, max(0, len(level) - 1))]
    top = reach + around[:, reach:].argmax(axis=1)[:, None]
    column = np.arange(2 * reach)
    before = np.where(column <= top, around, np.inf)
    lowest = before.argmin(axis=1)[:, None]
    base, peak = np.take_along_axis(around, lowest, 1), np.take_along_axis(around, top, 1)
    over = (column >= lowest) & (column <= top) & (around > base + _RISE_START * (peak - base))
    start_s = (at + over.argmax(axis=1) - reach + _SMOOTH_STEPS / 2) / features.energy_rate_hz
    clear = (peak[:, 0] > _LEAST_RISE * base[:, 0]) & (at >= reach)
    return np.where(clear, start_s, times_s)


def _level(energy: Doubles) -> Doubles:
    """Amplitude over the next few milliseconds."""
    sums = np.concatenate([[0.0], np.cumsum(energy), np.full(_SMOOTH_STEPS, energy.sum())])
    level: Doubles = np.sqrt(np.maximum(sums[_SMOOTH_STEPS:] - sums[:-_SMOOTH_STEPS], 0) / _SMOOTH_STEPS)
    return level


def _peaks(rise: Doubles) -> Indices:
    """Local maxima that stand out of their second."""
    if len(rise) < 2 * _APART_FRAMES + 1:
        return np.zeros(0, np.intp)
    padded = np.pad(rise, _APART_FRAMES)
    highest = np.lib.stride_tricks.sliding_window_view(padded, 2 * _APART_FRAMES + 1).max(axis=1)
    size = min(len(rise), 2 * _BACKGROUND_FRAMES)
    background = np.convolve(rise, np.ones(size) / size, "same")
    return np.flatnonzero((rise >= highest) & (rise > _LEAST_OVER_BACKGROUND * background) & (rise > 0))
