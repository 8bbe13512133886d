"""Programme loudness by ITU-R BS.1770-5 and EBU R 128; loudness range by EBU Tech 3342.

K-weighted power is summed in steps of 10 ms, a tenth of the 100 ms that Annex 1 asks for, so that the largest momentary
and short-term values do not depend on where the file begins. Everything else is arithmetic on those sums.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.core.blocks import Block
from analysis.core.samples import Doubles, Floats, Samples, check_samples
from analysis.levels.k_weighting import KWeighting

_STEPS_PER_SECOND = 100  # house choice, see above
_MOMENTARY_STEPS = 40  # 400 ms, BS.1770-5 Annex 1
_SHORT_TERM_STEPS = 300  # 3 s, EBU Tech 3341 2.2
_GATING_HOP_STEPS = 10  # 75 % overlap, BS.1770-5 Annex 1
_OFFSET_LU = -0.691  # BS.1770-5 Annex 1, equation 2
_ABSOLUTE_GATE_LUFS = -70.0  # BS.1770-5 Annex 1
_RELATIVE_GATE_LU = -10.0  # BS.1770-5 Annex 1
_RANGE_GATE_LU = -20.0  # EBU Tech 3342
_RANGE_PERCENTILES = (10.0, 95.0)  # EBU Tech 3342
_SURROUND_WEIGHT = 1.41  # BS.1770-5 Annex 1, table 3
_SILENT_POWER = 1e-15  # -150 LUFS: rounding of silence (house choice)
# By number of channels in the order of WAV's channel mask; every other layout counts all channels alike
# (house choice). The low-frequency channel does not count (BS.1770-5 Annex 1).
_CHANNEL_WEIGHTS = {
    5: (1.0, 1.0, 1.0, _SURROUND_WEIGHT, _SURROUND_WEIGHT),
    6: (1.0, 1.0, 1.0, 0.0, _SURROUND_WEIGHT, _SURROUND_WEIGHT),
    8: (1.0, 1.0, 1.0, 0.0, 1.0, 1.0, _SURROUND_WEIGHT, _SURROUND_WEIGHT),
}


@dataclass(frozen=True)
class Loudness:
    """None where everything is gated away: silence has no loudness."""

    integrated_lufs: float | None
    range_lu: float | None
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None


def measure_loudness(samples: Samples, sample_rate_hz: int) -> Loudness:
    """Loudness of a whole signal in memory.

    Parameters
    ----------
    samples : float array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    sample_rate_hz : int

    Returns
    -------
    Loudness
        Integrated, momentary and short-term maximum in LUFS, range in LU.

    Raises
    ------
    ValueError
        For samples that `check_samples` refuses.

    References
    ----------
    ITU-R BS.1770-5; EBU R 128; EBU Tech 3341 and 3342.
    """
    check_samples(samples, sample_rate_hz)
    meter = LoudnessMeter(sample_rate_hz, samples.shape[1])
    for start in range(0, len(samples), sample_rate_hz):
        meter.add(Block(samples[start : start + sample_rate_hz], start))
    return meter.finish()


class LoudnessMeter:
    """Measures a stream of blocks; memory grows by 800 bytes a second."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._weighting = KWeighting(sample_rate_hz, channels)
        self._channel_weights = np.array(_CHANNEL_WEIGHTS.get(channels, (1.0,) * channels))
        self._rate = sample_rate_hz
        self._frames = 0
        self._open_power = 0.0
        self._steps: list[Doubles] = []

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        if not block.frames:
            return
        weighted = self._weighting.weighted(block.by_channel)
        powers = self._channel_weights @ _sums_between(weighted, self._edges(block.frames))
        powers[0] += self._open_power
        self._open_power = float(powers[-1])
        self._steps.append(powers[:-1])
        self._frames += block.frames

    def _edges(self, frames: int) -> list[int]:
        """Where steps begin inside this block, as frames of the block; always 0 and the end of the block."""
        first = self._frames * _STEPS_PER_SECOND // self._rate + 1
        last = (self._frames + frames) * _STEPS_PER_SECOND // self._rate
        inner = [step * self._rate // _STEPS_PER_SECOND - self._frames for step in range(first, last + 1)]
        return [0, *inner, frames]

    def finish(self) -> Loudness:
        steps = np.concatenate(self._steps) if self._steps else np.zeros(0)
        self._steps = []
        steps *= _STEPS_PER_SECOND / self._rate
        sums = np.concatenate([[0.0], np.cumsum(steps)])
        momentary, momentary_max = _windows(sums, _MOMENTARY_STEPS)
        short_term, short_term_max = _windows(sums, _SHORT_TERM_STEPS)
        return Loudness(
            integrated_lufs=_integrated_loudness(momentary),
            range_lu=_loudness_range(short_term),
            momentary_max_lufs=_loudness(momentary_max),
            short_term_max_lufs=_loudness(short_term_max),
        )


def _sums_between(weighted: Floats, edges: list[int]) -> Doubles:
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


def _windows(sums: Doubles, size: int) -> tuple[Doubles, float]:
    """Mean power over stretches of `size` steps, a gating hop apart, and the largest of all, one step apart."""
    if len(sums) <= size:
        return np.zeros(0), 0.0
    means = sums[size:] - sums[:-size]
    np.maximum(means, 0.0, out=means)
    means /= size
    return means[::_GATING_HOP_STEPS].copy(), float(means.max())


def _loudness(power: float) -> float | None:
    return _OFFSET_LU + 10.0 * math.log10(power) if power > _SILENT_POWER else None


def _power(loudness_lufs: float) -> float:
    return float(10.0 ** ((loudness_lufs - _OFFSET_LU) / 10.0))


def _gated(powers: Doubles, relative_gate_lu: float) -> Doubles:
    """What passes the absolute gate and then the gate relative to the mean of that."""
    loud = powers[powers > _power(_ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return loud
    return np.asarray(loud[loud > float(loud.mean()) * 10.0 ** (relative_gate_lu / 10.0)])


def _integrated_loudness(powers: Doubles) -> float | None:
    """BS.1770-5 Annex 1, equations 3 to 7, from the powers of 400 ms blocks."""
    gated = _gated(powers, _RELATIVE_GATE_LU)
    return _loudness(float(gated.mean())) if len(gated) else None


def _loudness_range(powers: Doubles) -> float | None:
    """EBU Tech 3342: spread of the short-term loudness from its 10th to its 95th percentile, gated."""
    gated = _gated(powers, _RANGE_GATE_LU)
    if not len(gated):
        return None
    low, high = np.percentile(10.0 * np.log10(gated), _RANGE_PERCENTILES)
    return float(high - low)
