"""Cut a stream of blocks into overlapping frames and lower its rate, without keeping more than a frame of the past."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Floats


def overlapping(samples: Floats, size: int, hop: int) -> Floats:
    """Cut the last axis into stretches of `size` that begin `hop` apart.

    Parameters
    ----------
    samples : float32 array, shape (..., n)
        Not modified.
    size, hop : int
        In samples; `size` is at most n.

    Returns
    -------
    float32 array, shape (..., (n - size) // hop + 1, size)
        A read-only view.
    """
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
        """Add samples and take the frames that they complete.

        Parameters
        ----------
        block : float32 array, shape (n,)
            The next samples of the stream.

        Returns
        -------
        float32 array, shape (n_complete, size)
            A read-only view; empty while no frame is complete.
        """
        samples = np.concatenate([self._held, block])
        count = max(0, (len(samples) - self.size) // self.hop + 1)
        self._held = samples[count * self.hop :]
        if not count:
            return np.zeros((0, self.size), np.float32)
        return overlapping(samples, self.size, self.hop)

    def last(self) -> Floats:
        """Fill up with silence after the end of the stream.

        Returns
        -------
        float32 array, shape (n_complete, size)
            The frames whose centre lies at or before the end.
        """
        return self.frames(np.zeros(self.size // 2, np.float32))


class Decimator:
    """Lower the rate by a whole factor behind a linear-phase low-pass; the delay is removed."""

    # Length of the low-pass, and its cut-off as a share of half the new rate (house choices).
    TAPS_PER_PHASE = 10
    PASSED_SHARE = 0.8

    def __init__(self, factor: int) -> None:
        self.factor = factor
        taps = self.TAPS_PER_PHASE * factor
        at = np.arange(taps) - (taps - 1) / 2
        response = np.sinc(at * self.PASSED_SHARE / factor) * np.hanning(taps + 2)[1:-1]
        self._phases = (response / response.sum()).astype(np.float32).reshape(self.TAPS_PER_PHASE, factor)
        self._held = np.zeros(taps // 2, np.float32)

    def lower(self, block: Floats) -> Floats:
        """Add samples and take what is ready at the lower rate.

        Parameters
        ----------
        block : float32 array, shape (n,)
            The next samples of the stream.

        Returns
        -------
        float32 array, shape (m,)
            About n / factor samples; fewer at the start of the stream, which `last` makes up for.
        """
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
        parts: Floats = self._phases @ table.T
        lowered: Floats = parts[0, :count].copy()
        for tap in range(1, self.TAPS_PER_PHASE):
            lowered += parts[tap, tap : tap + count]
        return lowered

    def last(self) -> Floats:
        """Fill up with silence after the end of the stream.

        Returns
        -------
        float32 array, shape (m,)
            The samples that were held back.
        """
        return self.lower(np.zeros(self.TAPS_PER_PHASE * self.factor // 2, np.float32))


# Half of it lies above the highest pitch that harmony looks for (house choice).
_LOWERED_RATE_HZ = 6000


def lowering_factor(sample_rate_hz: int) -> int:
    """The whole factor by which harmony and bass, which share the result, lower the rate: to about 6 kHz."""
    return max(1, round(sample_rate_hz / _LOWERED_RATE_HZ))


class Growing:
    """An array that rows are added to; doubling keeps the cost of adding flat."""

    FIRST_ROWS = 1024  # room to begin with (house choice)

    def __init__(self, columns: int) -> None:
        self._rows = np.zeros((self.FIRST_ROWS, columns), np.float32)
        self._count = 0

    def add(self, rows: Floats) -> None:
        """Append rows.

        Parameters
        ----------
        rows : float32 array, shape (n, columns)
            Copied.
        """
        needed = self._count + len(rows)
        if needed > len(self._rows):
            larger = np.zeros((max(needed, 2 * len(self._rows)), self._rows.shape[1]), np.float32)
            larger[: self._count] = self._rows[: self._count]
            self._rows = larger
        self._rows[self._count : needed] = rows
        self._count = needed

    def array(self) -> Floats:
        """All rows so far.

        Returns
        -------
        float32 array, shape (n_added, columns)
            A copy.
        """
        return self._rows[: self._count].copy()
