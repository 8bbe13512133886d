"""Band-wise energy and onset strength every 10 ms, from one short-time spectrum.

Onset strength is the rise of the log-compressed magnitude, taken in third-of-an-octave steps or finer so that a new
note in a held chord counts, and then summed into a few bands (low: kick and bass, up to the cymbals).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from analysis.core.framing import Framer, Growing
from analysis.core.samples import Floats, Indices

# All numbers here are house choices. The window is 2048 frames at 48 kHz.
FRAMES_PER_SECOND = 100
_WINDOW_S = 0.0427
# Edges of the bands in Hz. Six tell bass, body, voice range, attack and air apart.
BAND_EDGES_HZ = (30.0, 120.0, 300.0, 900.0, 2500.0, 6000.0, 16000.0)
BAND_COUNT = len(BAND_EDGES_HZ) - 1
_TOP_SHARE = 0.46  # of the sample rate: above it lies the converter's own filter
_STEPS_PER_OCTAVE = 12
# So few that their spectra stay in the processor's cache: half the time of a whole block at once.
_FRAMES_AT_ONCE = 32
# The bank is nearly empty: a step covers few bins. It is multiplied in pieces, cut at powers of two from this bin on.
_FIRST_CUT_BIN = 64
# Magnitudes from -60 dB re full scale on count by their logarithm; the energy has a floor of -120 dB.
_COMPRESSION = np.float32(1000.0)
_FLOOR_POWER = np.float32(1e-12)


def _filter_bank(size: int, sample_rate_hz: int) -> tuple[Floats, Indices]:
    """Spectrum bins to steps, shape (bins, steps), and the band that each step belongs to."""
    bins_hz = np.arange(size // 2 + 1) * sample_rate_hz / size
    top_hz = min(BAND_EDGES_HZ[-1], _TOP_SHARE * sample_rate_hz)
    centres = [BAND_EDGES_HZ[0]]
    while centres[-1] < top_hz:
        step = max(centres[-1] * (2 ** (1 / _STEPS_PER_OCTAVE) - 1), sample_rate_hz / size)
        centres.append(centres[-1] + step)
    edges = np.array(centres)
    bank = np.zeros((len(bins_hz), len(edges) - 2), np.float32)
    for step in range(len(edges) - 2):
        low, mid, high = edges[step : step + 3]
        bank[:, step] = np.clip(np.minimum((bins_hz - low) / (mid - low), (high - bins_hz) / (high - mid)), 0, None)
    bands = np.clip(np.searchsorted(BAND_EDGES_HZ, edges[1:-1], side="right") - 1, 0, BAND_COUNT - 1)
    return bank, bands


def _bank_pieces(bank: Floats, bins: slice) -> Iterator[tuple[slice, slice, Floats]]:
    """The bank's parts that are not empty: bins counted from the first that is used, the steps they reach, weights."""
    cuts = [bins.start]
    cut = _FIRST_CUT_BIN
    while cut < bins.stop:
        cuts += [cut] if cut > bins.start else []
        cut *= 2
    for low, high in pairwise([*cuts, bins.stop]):
        reached = np.flatnonzero(bank[low:high].any(axis=0))
        steps = slice(int(reached[0]), int(reached[-1]) + 1)
        yield slice(low - bins.start, high - bins.start), steps, np.ascontiguousarray(bank[low:high, steps])


class BandAccumulator:
    """Onset strength and energy of a mono stream, band by band; `rate_hz` is how many frames there are a second."""

    def __init__(self, sample_rate_hz: int) -> None:
        hop = max(1, round(sample_rate_hz / FRAMES_PER_SECOND))
        size = 2 ** max(4, round(np.log2(_WINDOW_S * sample_rate_hz)))
        self.rate_hz = sample_rate_hz / hop
        self._framer = Framer(size, hop)
        self._window = np.hanning(size + 1)[:-1].astype(np.float32) * np.float32(2 / size)
        bank, step_band = _filter_bank(size, sample_rate_hz)
        used = np.flatnonzero(bank.any(axis=1))
        self._bins = slice(int(used[0]), int(used[-1]) + 1)
        self._pieces = tuple(_bank_pieces(bank, self._bins))
        self._to_bands = (step_band[:, None] == np.arange(BAND_COUNT)).astype(np.float32)
        self._step_share = self._to_bands / np.maximum(self._to_bands.sum(0), 1)
        self._before = np.zeros((1, len(step_band)), np.float32)
        self._strength, self._energy = Growing(BAND_COUNT), Growing(BAND_COUNT)

    def add(self, mono: Floats) -> None:
        """Take the next samples.

        Parameters
        ----------
        mono : float32 array, shape (n,)
            At the file's own rate, full scale 1.0.
        """
        self._take(self._framer.frames(mono))

    def finish(self) -> tuple[Floats, Floats]:
        """The whole stream's frames.

        Returns
        -------
        strength : float32 array, shape (n_frames, 6)
            Rise of the log-compressed magnitude, 0 and up.
        energy_db : float32 array, shape (n_frames, 6)
            Energy of each band in dB, a floor of -120 dB included.
        """
        self._take(self._framer.last())
        return self._strength.array(), self._energy.array()

    def _take(self, frames: Floats) -> None:
        if not len(frames):
            return
        power = self._steps(self._spectral_power(frames))
        self._energy.add(10 * np.log10(power @ self._to_bands + _FLOOR_POWER))
        steps = np.log1p(_COMPRESSION * np.sqrt(power))
        rise = np.maximum(np.diff(np.concatenate([self._before, steps]), axis=0), 0)
        self._before = steps[-1:]
        self._strength.add(rise @ self._step_share)

    def _spectral_power(self, frames: Floats) -> Floats:
        """Of the bins that the bank uses."""
        from scipy import fft

        power = np.empty((len(frames), self._bins.stop - self._bins.start), np.float32)
        for start in range(0, len(frames), _FRAMES_AT_ONCE):
            spectrum = fft.rfft(frames[start : start + _FRAMES_AT_ONCE] * self._window)[:, self._bins]
            part = power[start : start + _FRAMES_AT_ONCE]
            np.square(spectrum.real, out=part)
            part += np.square(spectrum.imag)
        return power

    def _steps(self, power: Floats) -> Floats:
        steps = np.zeros((len(power), self._before.shape[1]), np.float32)
        for bins, reached, weights in self._pieces:
            steps[:, reached] += power[:, bins] @ weights
        return steps
