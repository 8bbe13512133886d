"""The upper edge of a file's spectrum, as a hint at a lossy or up-converted origin.

Encoders and converters cut the highs off steeply. An edge is reported only if the level falls by `Limits.edge_drop_db`
within `Limits.edge_width_hz` and there is real energy right under it: a kick, a bass or a dull amplifier fades out long
before, and says nothing. It is a hint, never a proof: 32 kHz material and deliberate filters look the same.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from analysis.core.blocks import Block
from analysis.core.samples import Doubles, Floats
from analysis.core.thresholds import Limits

# Length of a spectrum: bins of 12 Hz at 48 kHz (house choice).
_FRAMES = 4096
# Spectra per block of about a second: enough for a long-term picture at a fraction of a whole spectrogram's cost
# (house choice).
_SPECTRA_PER_BLOCK = 2
# How far the spectrum is smoothed, and the band that the level under the edge is compared with (house choices).
_SMOOTHING_HZ = 200.0
_MID_BAND_HZ = (1_000.0, 8_000.0)
# A spectrum counts if its power is within 30 dB of the loudest: fades and gaps would only blur the edge
# (house choice).
_QUIET_BELOW_LOUDEST = 1e-3
_FLOOR_POWER = 1e-20  # -200 dB instead of the logarithm of nothing (house choice)


class SpectrumMeter:
    """Mean power spectrum of the loud parts, channels together."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._window = np.hanning(_FRAMES).astype(np.float32)
        self._sum = np.zeros(_FRAMES // 2 + 1)
        self._count = 0
        self._loudest = 0.0

    def add(self, block: Block) -> None:
        """Take the next block. Blocks shorter than one spectrum are left out."""
        if block.frames < _FRAMES or not block.peaks.any():
            return
        starts = np.linspace(0, block.frames - _FRAMES, _SPECTRA_PER_BLOCK).astype(int)
        # The sides apart: an average of both would cancel what is out of phase.
        frames = np.stack([block.by_channel[:2, start : start + _FRAMES] for start in starts])
        spectra = fft.rfft(frames.reshape(-1, _FRAMES) * self._window)
        self._note(np.square(spectra.real) + np.square(spectra.imag))

    def _note(self, powers: Floats) -> None:
        totals = powers.sum(axis=1)
        loudest = max(self._loudest, float(totals.max()))
        if self._loudest < loudest * _QUIET_BELOW_LOUDEST:
            self._sum[:], self._count = 0.0, 0
        self._loudest = loudest
        loud = powers[totals > loudest * _QUIET_BELOW_LOUDEST]
        self._sum += loud.sum(axis=0)
        self._count += len(loud)

    def finish(self, limits: Limits) -> float | None:
        """Frequency of a steep upper edge in Hz, or None."""
        if not self._count:
            return None
        hz_per_bin = self._rate / _FRAMES
        width = max(1, round(_SMOOTHING_HZ / hz_per_bin))
        smooth = np.convolve(self._sum / self._count, np.ones(width) / width, mode="same")
        return _steep_edge_hz(10.0 * np.log10(smooth + _FLOOR_POWER), hz_per_bin, limits)


def _steep_edge_hz(levels_db: Doubles, hz_per_bin: float, limits: Limits) -> float | None:
    """The steepest fall of a smoothed spectrum, if nothing comes back above it and there is energy below it."""
    step = max(1, round(limits.edge_width_hz / hz_per_bin))
    lowest = round(_MID_BAND_HZ[0] / hz_per_bin)
    # The last bins belong to the converter's own filter.
    highest = len(levels_db) - 1 - step
    if highest <= lowest:
        return None
    drops = levels_db[lowest:highest] - levels_db[lowest + step : highest + step]
    place = lowest + int(np.argmax(drops))
    below = float(np.median(levels_db[max(0, place - step) : place + 1]))
    above = float(levels_db[place + step : -1].max())
    middle = float(np.median(levels_db[_bins(_MID_BAND_HZ, hz_per_bin)]))
    has_energy = below > middle - limits.edge_level_below_mid_db
    if below - above < limits.edge_drop_db or not has_energy:
        return None
    return _crossing(levels_db, place, step, below - limits.edge_drop_db) * hz_per_bin


def _bins(band_hz: tuple[float, float], hz_per_bin: float) -> slice:
    return slice(round(band_hz[0] / hz_per_bin), round(band_hz[1] / hz_per_bin))


def _crossing(levels_db: Doubles, place: int, step: int, level_db: float) -> int:
    under = np.flatnonzero(levels_db[place : place + 2 * step] < level_db)
    return place + int(under[0]) if len(under) else place + step
