"""How other microphones hear the loudest strokes of one: how much later, which way round, how surely.

Around each stroke the cross-spectrum with every other microphone is whitened in part and averaged; its transform peaks
at the lag. The sign of the peak is the polarity, its distance from the next highest how sure both are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import fft

from analysis.core.samples import Doubles, Floats, Indices

# House choices: how many strokes in a window, how far apart, how loud beside the loudest; what is looked at before and
# after one.
_MOST_STROKES = 10
_APART_S, _LOUD = 0.1, 0.25
_BEFORE_S, _AFTER_S = 0.005, 0.05
_STEP_S = 0.0005
# Bins this far under the strongest say nothing (house choice); the power of whitening is that of `correlation.py`.
_QUIETEST, _WHITENING = 1e-3, 0.75
# The next highest peak is looked for this far from the highest (1 ms).
_NEAR_S = 0.001
# The curve's places between two samples (house choice: at most 2 % of a peak is lost, at half the rate: cos(pi / 16)).
_FINER = 8


@dataclass(frozen=True)
class Heard:
    """`lag_frames`: later than in the reference. `rival`: the next highest peak's share of the highest, 0 is sure."""

    lag_frames: int
    polarity: int
    rival: float


def strokes_of(track: Floats, sample_rate_hz: int) -> Indices:
    """Frames of the loudest strokes.

    Parameters
    ----------
    track : float32 array, shape (n_frames,)

    Returns
    -------
    int array, shape (n_strokes,)
        Loudest first.
    """
    step = max(1, round(_STEP_S * sample_rate_hz))
    change = np.abs(np.diff(track, prepend=track[:1]))
    peaks = change[: len(change) // step * step].reshape(-1, step).max(axis=1)
    apart = round(_APART_S / _STEP_S)
    found: list[int] = []
    while len(found) < _MOST_STROKES and len(peaks):
        best = int(peaks.argmax())
        if peaks[best] <= 0.0 or (found and peaks[best] < _LOUD * change[found[0] : found[0] + step].max()):
            break
        found.append(best * step)
        peaks[max(0, best - apart) : best + apart + 1] = 0.0
    return np.array(found, np.intp)


def strokes_heard(
    windows: Sequence[Floats], reference: int, sample_rate_hz: int, *, longest_lag_frames: int
) -> tuple[Heard | None, ...]:
    """How each microphone hears the strokes of one.

    Parameters
    ----------
    windows : sequence of float32 array, shape (n_tracks, n_frames)
    reference : int
        The row whose strokes are looked at.

    Returns
    -------
    tuple of Heard or None
        None where there is nothing to hear.
    """
    before, after = round(_BEFORE_S * sample_rate_hz), round(_AFTER_S * sample_rate_hz)
    size = fft.next_fast_len(before + after + 2 * longest_lag_frames, real=True)
    shape = _shape(before, after)
    summed = np.zeros((len(windows[0]), size // 2 + 1), np.complex64)
    for window in windows:
        for stroke in strokes_of(window[reference], sample_rate_hz):
            first, last = stroke - before, stroke + after
            if first < longest_lag_frames or last + longest_lag_frames > window.shape[1]:
                continue
            own = fft.rfft(window[reference, first:last] * shape, size)
            around = fft.rfft(window[:, first - longest_lag_frames : last + longest_lag_frames], size, axis=1)
            summed += _whitened(around * np.conj(own))
    lags = fft.irfft(summed, size, axis=1)[:, : 2 * longest_lag_frames + 1]
    near = round(_NEAR_S * sample_rate_hz)
    return tuple(_peak(row, longest_lag_frames, near) for row in lags)


def _shape(before: int, after: int) -> Floats:
    """Rises before the stroke, falls over the second half of what follows it."""
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(before) / before)
    fall = 0.5 + 0.5 * np.cos(np.pi * np.arange(after // 2) / (after // 2))
    return np.concatenate([rise, np.ones(after - after // 2), fall]).astype(np.float32)


def _whitened(crossed: Floats) -> Floats:
    size = np.abs(crossed)
    loudest = size.max(axis=1, keepdims=True) + 1e-20
    return np.asarray(
        crossed / ((size + _QUIETEST * loudest) ** _WHITENING * loudest ** (1 - _WHITENING)), np.complex64
    )


def _peak(row: Doubles, longest: int, near: int) -> Heard | None:
    size = np.abs(row)
    place = int(size.argmax())
    if size[place] <= 0.0:
        return None
    rest = np.concatenate([size[: max(0, place - near)], size[place + near + 1 :]])
    rival = float(rest.max(initial=0.0) / size[place])
    return Heard(place - longest, _sign(row[max(0, place - near) : place + near + 1]), rival)


def _sign(around: Doubles) -> int:
    """Bright strokes swing to both sides within a sample or two. Where the true peak lies between two samples, its
    neighbour of the other sign may be the highest sample: the curve between the samples decides."""
    shaped = around * np.hanning(len(around) + 2)[1:-1]
    curve = fft.irfft(fft.rfft(shaped), _FINER * len(shaped))
    return 1 if curve.max() > -curve.min() else -1
