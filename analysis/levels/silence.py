"""Silence before the first and after the last sound.

The rule: a file begins with its first sample above a threshold and ends with its last one. It is the lower of
`Limits.silence_dbfs` and `Limits.silence_below_peak_db` under the file's own peak, but at least
`Limits.silence_floor_dbfs`. The peak is known only at the end, so crossings of all levels that it could be are kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.core.blocks import BUCKET_FRAMES, Block
from analysis.core.samples import Floats
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db, dbfs_from_amplitude

Places = NDArray[np.int64]


@dataclass(frozen=True)
class Silence:
    """Frames; None when no sample is above the threshold."""

    leading_frames: int | None
    trailing_frames: int | None


class SilenceMeter:
    """Keeps the first and last crossing of each level that the threshold could be, 1 dB apart (house choice)."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._floor_dbfs = math.floor(limits.silence_floor_dbfs)
        levels_dbfs = range(self._floor_dbfs, max(self._floor_dbfs, math.ceil(limits.silence_dbfs)) + 1)
        self._steps = np.array([amplitude_from_db(level) for level in levels_dbfs], np.float32)
        self._first = np.full(len(self._steps), -1, np.int64)
        self._last = np.full(len(self._steps), -1, np.int64)
        self._frames = 0
        self._peak = 0.0

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        peaks = block.peaks.max(axis=0)
        self._note_first(block, peaks)
        self._note_last(block, peaks)
        self._peak = max(self._peak, float(peaks.max(initial=0.0)))
        self._frames += block.frames

    def _note_first(self, block: Block, peaks: Floats) -> None:
        waiting = np.flatnonzero(self._first < 0)
        if not len(waiting):
            return
        buckets = _first_above(peaks, self._steps[waiting])
        for bucket in set(buckets[buckets < len(peaks)].tolist()):
            steps = waiting[buckets == bucket]
            self._first[steps] = block.start_frame + _frames_above(block, bucket, self._steps[steps])

    def _note_last(self, block: Block, peaks: Floats) -> None:
        back = _first_above(peaks[::-1], self._steps)
        for steps_back in set(back[back < len(peaks)].tolist()):
            steps = np.flatnonzero(back == steps_back)
            bucket = len(peaks) - 1 - steps_back
            self._last[steps] = block.start_frame + _frames_above(block, bucket, self._steps[steps], from_end=True)

    def finish(self) -> Silence:
        peak_dbfs = dbfs_from_amplitude(self._peak)
        if peak_dbfs is None:
            return Silence(None, None)
        threshold_dbfs = min(self._limits.silence_dbfs, peak_dbfs - self._limits.silence_below_peak_db)
        step = min(max(0, math.floor(threshold_dbfs) - self._floor_dbfs), len(self._steps) - 1)
        if self._first[step] < 0:
            return Silence(None, None)
        return Silence(int(self._first[step]), self._frames - 1 - int(self._last[step]))


def _first_above(levels: Floats, steps: Floats) -> Places:
    """For each step the place of the first level above it; `len(levels)` where there is none."""
    return np.searchsorted(np.maximum.accumulate(levels), steps, side="right").astype(np.int64)


def _frames_above(block: Block, bucket: int, steps: Floats, *, from_end: bool = False) -> Places:
    """The first (or last) frame in the block above each step, given the bucket that holds it."""
    start = bucket * BUCKET_FRAMES
    magnitudes = np.abs(block.by_channel[:, start : start + BUCKET_FRAMES]).max(axis=0)
    if from_end:
        return start + len(magnitudes) - 1 - _first_above(magnitudes[::-1], steps)
    return start + _first_above(magnitudes, steps)
