"""The picture of a file: lowest and highest sample over equal stretches, never more than a fixed number of them."""

from __future__ import annotations

import numpy as np

from analysis.core.blocks import Block
from analysis.core.samples import Floats

# More than the widest screen shows, at 256 KiB a file (house choice).
MOST_BUCKETS = 32_768


class PyramidMeter:
    """Channels together. When the buckets run out, neighbours merge, so memory does not grow with the file."""

    def __init__(self) -> None:
        self._buckets = np.zeros((MOST_BUCKETS, 2), np.float32)
        self._count = 0
        self._merge = 1
        self._waiting = np.zeros((0, 2), np.float32)

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        extremes = np.stack([block.lows.min(axis=0), block.highs.max(axis=0)], axis=1)
        self._waiting = np.concatenate([self._waiting, extremes])
        self._take(len(self._waiting) // self._merge)

    def _take(self, rows: int) -> None:
        taken = self._waiting[: rows * self._merge].reshape(rows, self._merge, 2)
        self._waiting = self._waiting[rows * self._merge :]
        while rows:
            fits = min(rows, MOST_BUCKETS - self._count)
            self._buckets[self._count : self._count + fits] = _merged(taken[:fits])
            self._count += fits
            rows, taken = rows - fits, taken[fits:]
            if self._count == MOST_BUCKETS:
                self._halve()
                # What is left was cut for the finer step: cut it again for the coarser one.
                self._waiting = np.concatenate([taken.reshape(-1, 2), self._waiting])
                rows = len(self._waiting) // self._merge
                taken = self._waiting[: rows * self._merge].reshape(rows, self._merge, 2)
                self._waiting = self._waiting[rows * self._merge :]

    def _halve(self) -> None:
        pairs = self._buckets.reshape(MOST_BUCKETS // 2, 2, 2)
        self._buckets[: MOST_BUCKETS // 2] = _merged(pairs)
        self._count = MOST_BUCKETS // 2
        self._merge *= 2

    def finish(self) -> Floats:
        """The picture so far.

        Returns
        -------
        float32 array, shape (n_buckets, 2)
            Lowest and highest sample, full scale 1.0. All buckets cover the same time; the last may be shorter.
        """
        if len(self._waiting):
            last = _merged(self._waiting[np.newaxis])
            return np.concatenate([self._buckets[: self._count], last])
        return self._buckets[: self._count].copy()


def _merged(groups: Floats) -> Floats:
    return np.stack([groups[:, :, 0].min(axis=1), groups[:, :, 1].max(axis=1)], axis=1)
