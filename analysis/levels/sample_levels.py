"""Sample peak, DC offset, how the channels relate, bits in use: sums over the file, one pass.

Sample peak is in dBFS re a full-scale sample. (AES17 puts 0 dBFS at a full-scale sine's RMS: 3.01 dB lower by RMS.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.core.blocks import Block
from analysis.core.samples import Floats
from analysis.core.thresholds import Limits

# The mean is also taken over pieces of this length, about a tenth of a second: an offset is in all of them alike
# (house choice).
_DC_PIECE_FRAMES = 4_096
# Under this share of both channels' power the difference is taken from the samples themselves (house choice).
_NEARLY_ALIKE = 0.01


@dataclass(frozen=True)
class Levels:
    """`dc_offset` is the mean of the channel that is furthest off, `dc_error` how far that mean may be off by chance.

    `peak` is an amplitude, `power` each channel's mean square, `difference_db` left minus right re left plus right.
    """

    peak: float
    dc_offset: float
    dc_error: float
    power: tuple[float, ...]
    correlation: float | None
    difference_db: float | None
    bad_values: int
    first_bad_frame: int | None


class LevelMeter:
    """Measures a stream of blocks; each sum is kept for the whole file."""

    def __init__(self, channels: int) -> None:
        self._peak = 0.0
        self._sums = np.zeros(channels)
        self._squared_means = np.zeros(channels)
        self._pieces = 0
        self._products = np.zeros((channels, channels))
        self._difference_power = 0.0
        self._frames = 0
        self._bad_values = 0
        self._first_bad_frame: int | None = None

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        rows = block.by_channel
        self._peak = max(self._peak, float(block.peaks.max(initial=0.0)))
        self._add_means(rows)
        products = _products(rows)
        self._products += products
        if len(rows) == 2:
            self._difference_power += _difference_power(rows, products)
        self._frames += block.frames
        if block.bad_values and self._first_bad_frame is None:
            self._first_bad_frame = block.first_bad_frame
        self._bad_values += block.bad_values

    def _add_means(self, rows: Floats) -> None:
        whole = rows.shape[1] // _DC_PIECE_FRAMES * _DC_PIECE_FRAMES
        self._add_pieces(rows[:, :whole].reshape(len(rows), -1, _DC_PIECE_FRAMES))
        if whole < rows.shape[1]:
            self._add_pieces(rows[:, np.newaxis, whole:])

    def _add_pieces(self, pieces: Floats) -> None:
        """By a matrix product, which sums faster than `sum` does."""
        length = pieces.shape[2]
        sums = (pieces @ np.ones(length, np.float32)).astype(np.float64)
        self._sums += sums.sum(axis=1)
        self._squared_means += ((sums / length) ** 2).sum(axis=1)
        self._pieces += sums.shape[1]

    def finish(self) -> Levels:
        frames = max(1, self._frames)
        means = self._sums / frames
        worst = int(np.argmax(np.abs(means)))
        return Levels(
            peak=self._peak,
            dc_offset=float(means[worst]),
            dc_error=self._dc_error(worst),
            power=tuple(float(value) for value in np.diag(self._products) / frames),
            correlation=self._correlation(),
            difference_db=self._difference_db(),
            bad_values=self._bad_values,
            first_bad_frame=self._first_bad_frame,
        )

    def _dc_error(self, channel: int) -> float:
        """Standard error of the mean, from how much it differs from piece to piece: low notes and hits move it too."""
        pieces, frames = max(1, self._pieces), max(1, self._frames)
        spread = max(0.0, float(self._squared_means[channel] / pieces - (self._sums[channel] / frames) ** 2))
        # A few pieces may agree by luck: the least that chance can do is what independent samples would.
        least = float(self._products[channel, channel]) / frames**2
        return float(np.sqrt(max(spread / pieces, least)))

    def _correlation(self) -> float | None:
        """Of left and right over the whole file; None unless stereo with sound on both sides."""
        if len(self._products) != 2:
            return None
        scale = float(np.sqrt(self._products[0, 0] * self._products[1, 1]))
        return float(self._products[0, 1]) / scale if scale > 0.0 else None

    def _difference_db(self) -> float | None:
        """Left minus right against left plus right in power. -400 (house choice) stands for no difference at all."""
        if len(self._products) != 2:
            return None
        together = float(self._products.sum())
        if together <= 0.0:
            return None
        return 10.0 * float(np.log10(max(self._difference_power / together, 1e-40)))


def _products(rows: Floats) -> Floats:
    """Of each channel with each. One by one: for two channels a matrix product takes several times as long."""
    table = np.zeros((len(rows), len(rows)), np.float32)
    for one in range(len(rows)):
        for two in range(one, len(rows)):
            table[one, two] = table[two, one] = rows[one] @ rows[two]
    return table


def _difference_power(rows: Floats, products: Floats) -> float:
    """Sum of squares of left minus right. Where the two are nearly alike, their products would round it away."""
    power = float(products[0, 0] + products[1, 1])
    by_products = power - 2.0 * float(products[0, 1])
    if by_products > _NEARLY_ALIKE * power:
        return by_products
    difference = rows[0] - rows[1]
    return float(difference @ difference)


def channel_fault(levels: Levels, limits: Limits) -> str | None:
    """`one-sided`, `inverted-channel` or `dual-mono` for a stereo file that is not what it seems; else None."""
    if len(levels.power) != 2:
        return None
    quiet, loud = sorted(levels.power)
    if loud > 0.0 and quiet <= loud * 10.0 ** (-limits.one_sided_db / 10.0):
        return "one-sided"
    if levels.correlation is not None and levels.correlation <= limits.inverted_correlation:
        return "inverted-channel"
    if levels.difference_db is not None and levels.difference_db <= -limits.dual_mono_near_db:
        return "dual-mono"
    return None


def sounding_side(levels: Levels) -> Literal["left", "right"]:
    return "left" if levels.power[0] > levels.power[1] else "right"


class BitMeter:
    """Significant bits of integer samples: all words or-ed together, less the zeros at their end.

    Absence of zeros proves nothing: any gain or dither after a conversion fills the low bits.
    """

    def __init__(self, bit_depth: int | None, *, is_float: bool) -> None:
        self._bits = None if is_float else bit_depth
        self._seen = 0

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        # Once the lowest bit has been seen nothing more can change: most files stop here at their first block.
        if self._bits is None or self._seen & 1:
            return
        scale = float(2 ** (self._bits - 1))
        words = (block.exact * block.exact.dtype.type(scale)).astype(np.int64)
        self._seen |= int(np.bitwise_or.reduce(words, axis=None)) & (2**self._bits - 1)

    def finish(self) -> int | None:
        """None for floating point, lossy and silent files."""
        if self._bits is None or not self._seen:
            return None
        trailing_zeros = (self._seen & -self._seen).bit_length() - 1
        return self._bits - trailing_zeros
