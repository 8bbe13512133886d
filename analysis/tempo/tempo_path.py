"""Follow a moving pulse: the best path through short-time tempo spectra, then locked to the onsets' phase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.core.samples import Doubles, Indices
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.tempo.clock import Clock
from analysis.tempo.evidence import Evidence
from analysis.tempo.pulse import COMB_DECAY, FASTEST_HZ, SLOWEST_HZ, onset_curve

# House choices. Windows and their spectra; pulses a step apart, moving so many steps a
# window, at a cost each step squared or at the cost of a jump.
_WINDOW_S, _HOP_S = 8.0, 1.0
_FFT_SIZE = 8192
_HARMONICS = 6
_STEP_RATIO = 1.004
_MOST_STEPS = 4
_STEP_COST, _JUMP_COST = 0.012, 0.9
# The count is bent in knots this far apart, smoothed over the window, in so many rounds (house choices).
_LOCK_WINDOW_S = 3.0
_LOCK_HOP_S = 0.5
_LOCK_ROUNDS = 3
# Ratios at which the path may sit on another level of one pulse.
_LEVELS = (1.0, 2.0, 0.5, 3.0, 1 / 3, 1.5, 2 / 3, 4.0, 0.25, 4 / 3, 0.75)


@dataclass(frozen=True)
class TempoPath:
    """Pulse frequency at window centres, float64 arrays of shape (n_windows,); the pulse is some level of the beat."""

    times_s: Doubles
    hz: Doubles


def follow(evidence: Evidence) -> TempoPath | None:
    """The strongest pulse that moves smoothly, with few jumps, through the song.

    Returns
    -------
    TempoPath or None
        None for a song shorter than two windows (16 s).
    """
    curve = onset_curve(evidence)
    window = int(_WINDOW_S * FRAMES_PER_SECOND)
    if len(curve) < 2 * window:
        return None
    padded = np.pad(curve, window // 2)
    hop = int(_HOP_S * FRAMES_PER_SECOND)
    frames = np.lib.stride_tricks.sliding_window_view(padded, window)[::hop]
    spectra = np.abs(fft.rfft(frames * np.hanning(window), _FFT_SIZE, axis=1))
    steps = int(np.log(FASTEST_HZ / SLOWEST_HZ) / np.log(_STEP_RATIO))
    hz = SLOWEST_HZ * _STEP_RATIO ** np.arange(steps, dtype=np.float64)
    strength = np.zeros((len(frames), len(hz)))
    for order in range(1, _HARMONICS + 1):
        place = np.rint(hz * order * _FFT_SIZE / FRAMES_PER_SECOND).astype(np.intp)
        strength += COMB_DECAY ** (order - 1) * spectra[:, place]
    strength /= np.maximum(strength.max(axis=1, keepdims=True), 1e-9)
    path = _best_path(strength)
    times = evidence.frame_s[0] + np.arange(len(frames)) * _HOP_S
    return TempoPath(times, _one_level(hz[path]))


def _one_level(hz: Doubles) -> Doubles:
    """Bring stretches where the path sat on half or double the pulse back to the level that it mostly keeps."""
    levels = np.log(np.array(_LEVELS))
    for _ in range(2):
        away = np.log(hz / np.median(hz))
        nearest = np.abs(away[:, None] - levels[None, :]).argmin(axis=1)
        hz = hz / np.exp(levels[nearest])
    return hz


def _best_path(strength: Doubles) -> Indices:
    windows, states = strength.shape
    came = np.zeros((windows, states), np.intp)
    total = strength[0].copy()
    shifts = range(-_MOST_STEPS, _MOST_STEPS + 1)
    index = np.arange(states)
    for window in range(1, windows):
        jump = int(np.argmax(total))
        best, source = np.full(states, total[jump] - _JUMP_COST), np.full(states, jump)
        for shift in shifts:
            low, high = max(0, shift), min(states, states + shift)
            value = np.full(states, -np.inf)
            value[low:high] = total[low - shift : high - shift] - _STEP_COST * shift**2
            better = value > best
            best, source = np.where(better, value, best), np.where(better, index - shift, source)
        total = best + strength[window]
        came[window] = source
    path = np.zeros(windows, np.intp)
    path[-1] = int(np.argmax(total))
    for window in range(windows - 1, 0, -1):
        path[window - 1] = came[window, path[window]]
    return path


def lock(evidence: Evidence, path: TempoPath) -> Clock:
    """Count pulses along the path, then bend the count until the onsets' phase stands still.

    Parameters
    ----------
    evidence : Evidence
        In the files' time.
    path : TempoPath
        As `follow` gives it.

    Returns
    -------
    Clock
        On which the pulse is even.
    """
    knots = np.arange(path.times_s[0], path.times_s[-1] + _LOCK_HOP_S, _LOCK_HOP_S)
    hz = np.interp(knots, path.times_s, path.hz)
    phase = np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1]) * _LOCK_HOP_S)])
    weights = np.sqrt(evidence.onset_weight)
    for _ in range(_LOCK_ROUNDS):
        counted = np.interp(evidence.onset_s, knots, phase)
        phase = phase - _drift(evidence.onset_s, counted, weights, knots)
    return Clock.from_phase(knots, phase)


def _drift(times_s: Doubles, counted: Doubles, weights: Doubles, knots: Doubles) -> Doubles:
    """How far the onsets' phase has moved at each knot, in pulses: the clearest multiple of the pulse tells."""
    bins = np.clip(np.rint((times_s - knots[0]) / _LOCK_HOP_S).astype(np.intp), 0, len(knots) - 1)
    reach = np.arange(-6, 7) * _LOCK_HOP_S
    kernel = np.exp(-0.5 * (reach / (_LOCK_WINDOW_S / 2)) ** 2)
    mass = float(np.convolve(np.bincount(bins, weights, len(knots)), kernel, "same").sum())
    best: tuple[float, Doubles] = (0.0, np.zeros(len(knots)))
    for order in (1, 2, 3, 4):
        turns = weights * np.exp(2j * np.pi * order * counted)
        summed = np.bincount(bins, turns.real, len(knots)) + 1j * np.bincount(bins, turns.imag, len(knots))
        vectors = np.convolve(summed, kernel, "same")[: len(knots)]
        clear = float(np.abs(vectors).sum() / mass)
        if clear > best[0] * 1.05:
            best = (clear, _smooth_turn(vectors) / order)
    return best[1]


def _smooth_turn(vectors: NDArray[np.complex128]) -> Doubles:
    """Unwrapped angle in turns, weak places bridged by their neighbours."""
    kernel = np.hanning(7)[1:-1]
    smooth = np.convolve(vectors, kernel / kernel.sum(), "same")
    return np.unwrap(np.angle(smooth)) / (2 * np.pi)
