"""Programme loudness by ITU-R BS.1770-5 and EBU R 128; loudness range by EBU Tech 3342.

K-weighted power is summed in steps of 10 ms, a tenth of the 100 ms that Annex 1 asks for, so that the largest momentary
and short-term values do not depend on where the file begins. Everything else is arithmetic on those sums.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.blocks import Block
from analysis.samples import Samples, check_samples

STEPS_PER_SECOND = 100
MOMENTARY_STEPS = 40  # 400 ms, BS.1770-5 Annex 1
SHORT_TERM_STEPS = 300  # 3 s, EBU Tech 3341 2.2
GATING_HOP_STEPS = 10  # 75 % overlap, BS.1770-5 Annex 1
OFFSET_LU = -0.691  # BS.1770-5 Annex 1, equation 2
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
RANGE_GATE_LU = -20.0  # EBU Tech 3342
RANGE_PERCENTILES = (10.0, 95.0)
SURROUND_WEIGHT = 1.41  # BS.1770-5 Annex 1, table 3
# By number of channels in the order of WAV's channel mask; every other layout counts all channels alike.
CHANNEL_WEIGHTS = {
    5: (1.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
    6: (1.0, 1.0, 1.0, 0.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
    8: (1.0, 1.0, 1.0, 0.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT),
}
# What the K-weighting's answer to an impulse holds after this time moves no loudness by a thousandth of a unit.
RESPONSE_S = 0.045
# So few transforms that they stay in the processor's cache.
PIECES_AT_ONCE = 4

Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Loudness:
    """None where everything is gated away: silence has no loudness."""

    integrated_lufs: float | None
    range_lu: float | None
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None


def measure_loudness(samples: Samples, sample_rate_hz: int) -> Loudness:
    """Loudness of a whole signal in memory, shape (n_frames, n_channels)."""
    check_samples(samples, sample_rate_hz)
    meter = LoudnessMeter(sample_rate_hz, samples.shape[1])
    for start in range(0, len(samples), sample_rate_hz):
        meter.add(Block(samples[start : start + sample_rate_hz], start))
    return meter.finish()


class LoudnessMeter:
    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._weighting = KWeighting(sample_rate_hz, CHANNEL_WEIGHTS.get(channels, (1.0,) * channels))
        self._rate = sample_rate_hz
        self._frames = 0
        self._open_power = 0.0
        self._steps: list[Doubles] = []

    def add(self, block: Block) -> None:
        if not block.frames:
            return
        powers = self._weighting.powers(block.by_channel, self._edges(block.frames))
        powers[0] += self._open_power
        self._open_power = float(powers[-1])
        self._steps.append(powers[:-1])
        self._frames += block.frames

    def _edges(self, frames: int) -> list[int]:
        """Where steps begin inside this block, as frames of the block; always 0 and the end of the block."""
        first = self._frames * STEPS_PER_SECOND // self._rate + 1
        last = (self._frames + frames) * STEPS_PER_SECOND // self._rate
        inner = [step * self._rate // STEPS_PER_SECOND - self._frames for step in range(first, last + 1)]
        return [0, *inner, frames]

    def finish(self) -> Loudness:
        steps = np.concatenate(self._steps) if self._steps else np.zeros(0)
        self._steps = []
        steps *= STEPS_PER_SECOND / self._rate
        sums = np.concatenate([[0.0], np.cumsum(steps)])
        momentary, momentary_max = _windows(sums, MOMENTARY_STEPS)
        short_term, short_term_max = _windows(sums, SHORT_TERM_STEPS)
        return Loudness(
            integrated_lufs=integrated_loudness(momentary),
            range_lu=loudness_range(short_term),
            momentary_max_lufs=_loudness(momentary_max),
            short_term_max_lufs=_loudness(short_term_max),
        )


class KWeighting:
    """K-weighted power of a stream by fast convolution, in single precision at any rate.

    Two channels travel as the two parts of one complex signal: the filter is real, so it keeps them apart, and in the
    end their squares are added anyway. Each is scaled by the root of its weight on the way in.
    """

    def __init__(self, sample_rate_hz: int, weights: Sequence[float]) -> None:
        self._scales = np.sqrt(np.array(weights, np.float32))
        self._history = math.ceil(RESPONSE_S * sample_rate_hz)
        self._size = 1 << (5 * self._history // 2).bit_length()
        self._hop = self._size - self._history
        self._response = frequency_response(k_weighting(sample_rate_hz), self._size)
        self._held = np.zeros(((len(weights) + 1) // 2, self._history), np.complex64)

    def powers(self, rows: NDArray[np.float32], edges: list[int]) -> Doubles:
        """Sums of squares of the next samples between neighbouring edges, over all channels."""
        frames = rows.shape[1]
        weighted = self._filtered(self._joined(rows), frames).view(np.float32)
        return np.asarray(_sums_between(weighted, [2 * edge for edge in edges]).sum(axis=0))

    def _joined(self, rows: NDArray[np.float32]) -> NDArray[np.complex64]:
        """Channels in pairs, behind what is remembered, filled up to whole hops."""
        frames = rows.shape[1]
        whole = -(-frames // self._hop) * self._hop
        joined = np.zeros((len(self._held), self._history + whole), np.complex64)
        joined[:, : self._history] = self._held
        for channel, row in enumerate(rows):
            part = joined.imag if channel % 2 else joined.real
            np.multiply(row, self._scales[channel], out=part[channel // 2, self._history : self._history + frames])
        self._held = joined[:, frames : frames + self._history].copy()
        return joined

    def _filtered(self, joined: NDArray[np.complex64], frames: int) -> NDArray[np.complex64]:
        pieces = (joined.shape[1] - self._history) // self._hop
        shape, strides = (len(joined), pieces, self._size), (joined.strides[0], 8 * self._hop, 8)
        windows = np.lib.stride_tricks.as_strided(joined, shape, strides, writeable=False)
        filtered = np.empty((len(joined), pieces, self._hop), np.complex64)
        for start in range(0, pieces, PIECES_AT_ONCE):
            spectra = fft.fft(windows[:, start : start + PIECES_AT_ONCE])
            spectra *= self._response
            part = fft.ifft(spectra, overwrite_x=True)
            filtered[:, start : start + PIECES_AT_ONCE] = part[:, :, self._history :]
        return filtered.reshape(len(joined), -1)[:, :frames]


def frequency_response(sections: Doubles, size: int) -> NDArray[np.complex64]:
    """Of second-order sections, at the bins of a transform of that size."""
    delay = np.exp(-2j * np.pi * np.arange(size) / size)
    response = np.ones(len(delay), np.complex128)
    for b0, b1, b2, a0, a1, a2 in sections:
        response *= (b0 + b1 * delay + b2 * delay**2) / (a0 + a1 * delay + a2 * delay**2)
    return response.astype(np.complex64)


def _sums_between(weighted: NDArray[np.floating], edges: list[int]) -> Doubles:
    """Sum of squares of each row between neighbouring edges; zero where two edges coincide."""
    squares = np.square(weighted)
    sums = np.zeros((len(weighted), len(edges) - 1))
    for row, values in zip(sums, squares, strict=True):
        row[:-1] = np.add.reduceat(values, edges[:-2]) if len(edges) > 2 else 0.0
        row[-1] = values[edges[-2] :].sum()
        if len(edges) > 2:
            # reduceat runs its last stretch to the end of the array.
            row[-2] = values[edges[-3] : edges[-2]].sum()
    return sums


def k_weighting(sample_rate_hz: int) -> Doubles:
    """BS.1770-5 Annex 1's two filters as second-order sections for any rate.

    The tables give coefficients for 48 kHz alone; these are the analogue shelf and high-pass behind them, mapped by the
    bilinear transform, which gives the tabled values back at 48 kHz.
    """
    shelf_gain_db, shelf_q, shelf_hz = 3.999843853973347, 0.7071752369554196, 1681.974450955533
    pass_q, pass_hz = 0.5003270373238773, 38.13547087602444
    k = math.tan(math.pi * shelf_hz / sample_rate_hz)
    high = 10.0 ** (shelf_gain_db / 20.0)
    band = high**0.4996667741545416
    norm = 1.0 + k / shelf_q + k * k
    shelf = [
        (high + band * k / shelf_q + k * k) / norm,
        2.0 * (k * k - high) / norm,
        (high - band * k / shelf_q + k * k) / norm,
        1.0,
        2.0 * (k * k - 1.0) / norm,
        (1.0 - k / shelf_q + k * k) / norm,
    ]
    k = math.tan(math.pi * pass_hz / sample_rate_hz)
    norm = 1.0 + k / pass_q + k * k
    high_pass = [1.0, -2.0, 1.0, 1.0, 2.0 * (k * k - 1.0) / norm, (1.0 - k / pass_q + k * k) / norm]
    return np.array([shelf, high_pass])


def _windows(sums: Doubles, size: int) -> tuple[Doubles, float]:
    """Mean power over stretches of `size` steps, a gating hop apart, and the largest of all, one step apart."""
    if len(sums) <= size:
        return np.zeros(0), 0.0
    means = sums[size:] - sums[:-size]
    np.maximum(means, 0.0, out=means)
    means /= size
    return means[::GATING_HOP_STEPS].copy(), float(means.max())


def _loudness(power: float) -> float | None:
    return OFFSET_LU + 10.0 * math.log10(power) if power > 1e-15 else None


def _power(loudness_lufs: float) -> float:
    return float(10.0 ** ((loudness_lufs - OFFSET_LU) / 10.0))


def _gated(powers: Doubles, relative_gate_lu: float) -> Doubles:
    """What passes the absolute gate and then the gate relative to the mean of that."""
    loud = powers[powers > _power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return loud
    return np.asarray(loud[loud > float(loud.mean()) * 10.0 ** (relative_gate_lu / 10.0)])


def integrated_loudness(powers: Doubles) -> float | None:
    """BS.1770-5 Annex 1, equations 3 to 7, from the powers of 400 ms blocks."""
    gated = _gated(powers, RELATIVE_GATE_LU)
    return _loudness(float(gated.mean())) if len(gated) else None


def loudness_range(powers: Doubles) -> float | None:
    """EBU Tech 3342: spread of the short-term loudness from its 10th to its 95th percentile, gated."""
    gated = _gated(powers, RANGE_GATE_LU)
    if not len(gated):
        return None
    low, high = np.percentile(10.0 * np.log10(gated), RANGE_PERCENTILES)
    return float(high - low)
