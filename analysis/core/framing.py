"""Cut a stream of blocks into overlapping frames and lower its rate, without keeping more than a frame of the past."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.core.samples import Floats


def overlapping(samples: Floats, size: int, hop: int) -> Floats:
    """Stretches of the last axis that lie `hop` apart: a view, not to be written to."""
    count = (samples.shape[-1] - size) // hop + 1
    step = samples.strides[-1]
    shape, strides = (*samples.shape[:-1], count, size), (*samples.strides[:-1], hop * step, step)
    return np.lib.stride_tricks.as_strided(samples, shape, strides, writeable=False)


class Framer:
    """Frames of `size` samples every `hop`, the first centred on the first sample."""

    def __init__(self, size: int, hop: int) -> None:
        self.size, self.hop = size, hop
        self._held = np.zeros(size // 2, np.float32)

    def frames(self, block: Floats) -> Floats:
        """All frames that are complete with this block, shape (count, size): a view, not to be written to."""
        samples = np.concatenate([self._held, block])
        count = max(0, (len(samples) - self.size) // self.hop + 1)
        self._held = samples[count * self.hop :]
        if not count:
            return np.zeros((0, self.size), np.float32)
        return overlapping(samples, self.size, self.hop)

    def last(self) -> Floats:
        """The frames that silence after the end completes."""
        return self.frames(np.zeros(self.size // 2, np.float32))


class Decimator:
    """Lower the rate by a whole factor behind a linear-phase low-pass; the delay is taken out."""

    TAPS_PER_PHASE = 10

    def __init__(self, factor: int) -> None:
        self.factor = factor
        taps = self.TAPS_PER_PHASE * factor
        at = np.arange(taps) - (taps - 1) / 2
        response = np.sinc(at * 0.8 / factor) * np.hanning(taps + 2)[1:-1]
        self._phases = (response / response.sum()).astype(np.float32).reshape(self.TAPS_PER_PHASE, factor)
        self._held = np.zeros(taps // 2, np.float32)

    def lower(self, block: Floats) -> Floats:
        if self.factor == 1:
            return block
        samples = np.concatenate([self._held, block])
        rows = len(samples) // self.factor
        count = rows - self.TAPS_PER_PHASE + 1
        if count <= 0:
            self._held = samples
            return np.zeros(0, np.float32)
        table = samples[: rows * self.factor].reshape(rows, self.factor)
        self._held = samples[count * self.factor :]
        parts: Any = self._phases @ table.T
        lowered: Floats = parts[0, :count].copy()
        for tap in range(1, self.TAPS_PER_PHASE):
            lowered += parts[tap, tap : tap + count]
        return lowered

    def last(self) -> Floats:
        return self.lower(np.zeros(self.TAPS_PER_PHASE * self.factor // 2, np.float32))


_LOWERED_RATE_HZ = 6000


def lowering_factor(sample_rate_hz: int) -> int:
    """By how much the sound is lowered for harmony and bass, once for both: a tenth of all that is done here."""
    return max(1, round(sample_rate_hz / _LOWERED_RATE_HZ))


class Growing:
    """An array that rows are added to; doubling keeps the cost of adding flat."""

    def __init__(self, columns: int) -> None:
        self._rows = np.zeros((1024, columns), np.float32)
        self._count = 0

    def add(self, rows: Floats) -> None:
        needed = self._count + len(rows)
        if needed > len(self._rows):
            larger = np.zeros((max(needed, 2 * len(self._rows)), self._rows.shape[1]), np.float32)
            larger[: self._count] = self._rows[: self._count]
            self._rows = larger
        self._rows[self._count : needed] = rows
        self._count = needed

    def array(self) -> Floats:
        return self._rows[: self._count].copy()
