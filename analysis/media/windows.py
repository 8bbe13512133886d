"""Short stretches of long files for questions that need samples: where to look, and how to read them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr

from analysis.core.blocks import Block
from analysis.core.samples import Doubles, Floats
from analysis.media.reader import open_media

# House choices: the grid that stretches lie on, their fades, how much less a file counts once it was shown, and the
# share of one channel's energy under which the average has cancelled.
_STEP_S = 1.0
_FADE_S = 0.1
_SHOWN_WEIGHT = 4.0
_CANCELLED = 0.05


@dataclass(frozen=True)
class Activity:
    """Power of a file in each second, as a share of its loudest second: shape (n_seconds,), 0 to 1."""

    share: Floats


class ActivityMeter:
    """Sums the power of a stream of blocks by the second."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._sums = np.zeros(0)

    def add(self, block: Block) -> None:
        """Take the next block of the file. All of it counts for the second in which it begins."""
        second = block.start_frame // self._rate
        if second >= len(self._sums):
            self._sums = np.concatenate([self._sums, np.zeros(second + 1)])
        self._sums[second] += float(np.vdot(block.by_channel, block.by_channel))

    def finish(self) -> Activity:
        return activity_of(self._sums)


def activity_of(powers: Floats | Doubles) -> Activity:
    """Relate powers to their largest.

    Parameters
    ----------
    powers : float array, shape (n_seconds,)

    Returns
    -------
    Activity
        All zero for silence.
    """
    loudest = float(powers.max(initial=0.0))
    return Activity(np.asarray(powers / loudest if loudest > 0.0 else powers * 0.0, np.float32))


def choose_windows(activities: Sequence[Activity], *, window_s: float, most: int) -> tuple[float, ...]:
    """Choose stretches in which, taken together, every file plays at its loudest.

    Each stretch is chosen for those files that the ones before it did not show.

    Returns
    -------
    tuple of float
        Starts in seconds, in order; at most `most`.
    """
    length = max((len(activity.share) for activity in activities), default=0)
    if not length:
        return ()
    width = min(length, max(1, round(window_s / _STEP_S)))
    table = np.zeros((len(activities), length))
    for row, activity in zip(table, activities, strict=True):
        row[: len(activity.share)] = np.sqrt(activity.share)
    sums = np.cumsum(np.pad(table, ((0, 0), (1, 0))), axis=1)
    shown = (sums[:, width:] - sums[:, :-width]) / width
    need = np.ones(len(activities))
    starts: list[float] = []
    for _ in range(most):
        gain = need @ shown
        start = int(np.argmax(gain))
        if gain[start] <= 0.0:
            break
        starts.append(start * _STEP_S)
        need /= 1.0 + _SHOWN_WEIGHT * shown[:, start]
        shown[:, max(0, start - width + 1) : start + width] = 0.0
    return tuple(sorted(starts))


def read_window(
    path: Path, start_s: float, frames: int, sample_rate_hz: int, *, played_at_hz: int | None = None
) -> Floats:
    """Read a stretch of a file, channels averaged and both ends faded.

    Without the fades, the edges of the stretch or of the file would correlate with each other instead of the music.

    Parameters
    ----------
    path : Path
    start_s : float
        From the start of the file.
    frames, sample_rate_hz : int
        Length and rate of the result.
    played_at_hz : int, optional
        Read the file as if its header named this rate.

    Returns
    -------
    float32 array, shape (frames,)
        Full scale is 1.0; silence after the end of the file.
    """
    with open_media(path) as media:
        own_hz = played_at_hz or media.facts.sample_rate_hz
        part = _mono(media.part(round(start_s * own_hz), -(-frames * own_hz // sample_rate_hz)))
    if own_hz != sample_rate_hz:
        part = _at_rate(part, own_hz, sample_rate_hz)
    window = np.zeros(frames, np.float32)
    window[: len(part)] = _faded(part[:frames], round(_FADE_S * sample_rate_hz))
    return window


def _faded(samples: Floats, frames: int) -> Floats:
    length = min(frames, len(samples) // 2)
    ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / max(1, length))).astype(np.float32)
    shaped = samples.copy()
    shaped[:length] *= ramp
    shaped[len(shaped) - length :] *= ramp[::-1]
    return shaped


def _mono(samples: Floats) -> Floats:
    """Average of the channels, or the first alone where they cancel; what is no number counts as silence."""
    clean = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
    mean = clean.mean(axis=1)
    if clean.shape[1] > 1 and float(mean @ mean) < _CANCELLED * float(clean[:, 0] @ clean[:, 0]):
        return np.ascontiguousarray(clean[:, 0])
    return np.asarray(mean, np.float32)


def _at_rate(samples: Floats, from_hz: int, to_hz: int) -> Floats:
    return np.asarray(soxr.resample(samples, from_hz, to_hz), np.float32)


def mixed_window(paths: Sequence[Path], start_s: float, frames: int, sample_rate_hz: int) -> Floats:
    """The sum of the same stretch of several files, each as `read_window` gives it.

    Returns
    -------
    float32 array, shape (frames,)
        May exceed full scale.
    """
    mix = np.zeros(frames, np.float32)
    for path in paths:
        part = read_window(path, start_s, frames, sample_rate_hz)
        mix += part
    return mix
