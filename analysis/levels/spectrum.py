"""The upper edge of a file's spectrum, as a hint at a lossy or up-converted origin.

Encoders and converters cut the highs off steeply. An edge is reported only if the level falls by `Limits.edge_drop_db`
within `Limits.edge_width_hz` and there is real energy right under it: a kick, a bass or a dull amplifier fades out long
before, and says nothing. It is a hint, never a proof: 32 kHz material and deliberate filters look the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.core.blocks import Block
from analysis.core.limits import Limits

FRAMES = 4096
# Spectra per block of about a second: enough for a long-term picture at a fraction of a whole spectrogram's cost.
SPECTRA_PER_BLOCK = 2
SMOOTHING_HZ = 200.0
MID_BAND_HZ = (1_000.0, 8_000.0)
# A spectrum counts if its power is within 30 dB of the loudest: fades and gaps would only blur the edge.
QUIET_BELOW_LOUDEST = 1e-3
FLOOR_POWER = 1e-20


class SpectrumMeter:
    """Mean power spectrum of the loud parts, channels together."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._window = np.hanning(FRAMES).astype(np.float32)
        self._sum = np.zeros(FRAMES // 2 + 1)
        self._count = 0
        self._loudest = 0.0

    def add(self, block: Block) -> None:
        if block.frames < FRAMES or not block.peaks.any():
            return
        starts = np.linspace(0, block.frames - FRAMES, SPECTRA_PER_BLOCK).astype(int)
        # The sides apart: an average of both would cancel what is out of phase.
        frames = np.stack([block.by_channel[:2, start : start + FRAMES] for start in starts])
        spectra = fft.rfft(frames.reshape(-1, FRAMES) * self._window)
        self._note(np.square(spectra.real) + np.square(spectra.imag))

    def _note(self, powers: NDArray[np.float32]) -> None:
        totals = powers.sum(axis=1)
        loudest = max(self._loudest, float(totals.max()))
        if self._loudest < loudest * QUIET_BELOW_LOUDEST:
            self._sum[:], self._count = 0.0, 0
        self._loudest = loudest
        loud = powers[totals > loudest * QUIET_BELOW_LOUDEST]
        self._sum += loud.sum(axis=0)
        self._count += len(loud)

    def finish(self, limits: Limits) -> float | None:
        """Frequency of a steep upper edge in Hz, or None."""
        if not self._count:
            return None
        hz_per_bin = self._rate / FRAMES
        width = max(1, round(SMOOTHING_HZ / hz_per_bin))
        smooth = np.convolve(self._sum / self._count, np.ones(width) / width, mode="same")
        return steep_edge_hz(10.0 * np.log10(smooth + FLOOR_POWER), hz_per_bin, limits)


def steep_edge_hz(levels_db: NDArray[np.float64], hz_per_bin: float, limits: Limits) -> float | None:
    """The steepest fall of a smoothed spectrum, if nothing comes back above it and there is energy below it."""
    step = max(1, round(limits.edge_width_hz / hz_per_bin))
    lowest = round(MID_BAND_HZ[0] / hz_per_bin)
    # The last bins belong to the converter's own filter.
    highest = len(levels_db) - 1 - step
    if highest <= lowest:
        return None
    drops = levels_db[lowest:highest] - levels_db[lowest + step : highest + step]
    place = lowest + int(np.argmax(drops))
    below = float(np.median(levels_db[max(0, place - step) : place + 1]))
    above = float(levels_db[place + step : -1].max())
    middle = float(np.median(levels_db[_bins(MID_BAND_HZ, hz_per_bin)]))
    has_energy = below > middle - limits.edge_level_below_mid_db
    if below - above < limits.edge_drop_db or not has_energy:
        return None
    return _crossing(levels_db, place, step, below - limits.edge_drop_db) * hz_per_bin


def _bins(band_hz: tuple[float, float], hz_per_bin: float) -> slice:
    return slice(round(band_hz[0] / hz_per_bin), round(band_hz[1] / hz_per_bin))


def _crossing(levels_db: NDArray[np.float64], place: int, step: int, level_db: float) -> int:
    under = np.flatnonzero(levels_db[place : place + 2 * step] < level_db)
    return place + int(under[0]) if len(under) else place + step
