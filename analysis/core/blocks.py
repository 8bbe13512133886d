"""One decoded block with what several measurements share, worked out once."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from analysis.core.samples import Floats, Samples

# About 11 ms at 48 kHz: fine enough to draw, and a 256th of the numbers (house choice).
BUCKET_FRAMES = 512
# 60 dB over full scale: no gain structure gets there, so such values are damage and not music (house choice).
_WILD_AMPLITUDE = 1_000.0


class Block:
    """One stretch of a file, with the extremes that several meters need.

    Parameters
    ----------
    exact : float array, shape (n_frames, n_channels)
        As the decoder gave it, full scale 1.0. Not modified.
    start_frame : int
        The place of the first frame in the file.

    Attributes
    ----------
    by_channel : float32 array, shape (n_channels, n_frames)
        The same samples. NaN, infinity and values over 60 dBFS are replaced by silence.
    bad_values : int
        How many samples were replaced.
    first_bad_frame : int or None
        The first frame of the file with such a value.
    """

    def __init__(self, exact: Samples, start_frame: int) -> None:
        self.exact = exact
        self.start_frame = start_frame
        self.bad_values = 0
        self.first_bad_frame: int | None = None
        self.by_channel: Floats = np.ascontiguousarray(exact.T, np.float32)
        if not np.abs(self.peaks).max(initial=0.0) <= _WILD_AMPLITUDE:
            self._repair()

    @property
    def frames(self) -> int:
        return int(self.by_channel.shape[1])

    @property
    def samples(self) -> Floats:
        """The repaired samples.

        Returns
        -------
        float32 array, shape (n_frames, n_channels)
            A view whose channels are contiguous in memory.
        """
        return self.by_channel.T

    @cached_property
    def _buckets(self) -> Floats:
        """Shape (channels, buckets, BUCKET_FRAMES); the last is filled up with the last sample."""
        short = -self.frames % BUCKET_FRAMES
        padded = np.pad(self.by_channel, ((0, 0), (0, short)), mode="edge") if short else self.by_channel
        return padded.reshape(len(self.by_channel), -1, BUCKET_FRAMES)

    @cached_property
    def highs(self) -> Floats:
        """Highest sample of each bucket.

        Returns
        -------
        float32 array, shape (n_channels, n_buckets)
            A bucket holds `BUCKET_FRAMES` frames; the last one may hold fewer.
        """
        return np.asarray(self._buckets.max(axis=-1))

    @cached_property
    def lows(self) -> Floats:
        """Lowest sample of each bucket.

        Returns
        -------
        float32 array, shape (n_channels, n_buckets)
        """
        return np.asarray(self._buckets.min(axis=-1))

    @cached_property
    def peaks(self) -> Floats:
        """Largest magnitude of each bucket.

        Returns
        -------
        float32 array, shape (n_channels, n_buckets)
        """
        return np.maximum(self.highs, -self.lows)

    def _repair(self) -> None:
        bad = ~(np.abs(self.by_channel) <= _WILD_AMPLITUDE)
        self.bad_values = int(np.count_nonzero(bad))
        self.first_bad_frame = self.start_frame + int(np.argmax(bad.any(axis=0)))
        self.by_channel[bad] = 0.0
        for name in ("_buckets", "highs", "lows", "peaks"):
            self.__dict__.pop(name, None)
