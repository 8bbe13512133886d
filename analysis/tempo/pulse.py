"""Candidate beat periods from the spectrum of the onset strength over the whole song.

Music made to one tempo shows as sharp lines at the beat's harmonics, as narrow as the song is long; adding them up
finds the period to a few hundredths of a BPM. Which candidate is the felt beat is decided elsewhere, with the bars.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from analysis.core.samples import Doubles
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.tempo.evidence import Evidence

# Pulses from 30 to 312 BPM, comb teeth and their decay, and how many candidates are looked at (house choices).
SLOWEST_HZ, FASTEST_HZ = 0.5, 5.2
_COMB_HARMONICS = 8
COMB_DECAY = 0.85
_MAX_CANDIDATES = 10
# A beat is sought at these multiples of the strongest pulses, whatever their own strength; two within
# the share are one. The background is the mean over this many seconds (house choices).
_RELATED = (1.0, 2.0, 0.5, 3.0, 1 / 3, 1.5, 2 / 3, 4 / 3, 0.75, 0.25)
_SAME_PULSE = 0.006
_BACKGROUND_S = 1.0


@dataclass(frozen=True)
class Spectrum:
    """Magnitude of the onset strength by frequency: float64 array, shape (n_bins,), from 0 Hz in steps of `step_hz`."""

    step_hz: float
    magnitude: Doubles

    def at(self, hz: Doubles) -> Doubles:
        """Magnitude between the bins, by a straight line.

        Parameters
        ----------
        hz : float64 array, shape (n,)
            Frequencies from 0 Hz to the last bin.

        Returns
        -------
        float64 array, shape (n,)
        """
        place = hz / self.step_hz
        below = np.minimum(place.astype(np.intp), len(self.magnitude) - 2)
        share = place - below
        found: Doubles = self.magnitude[below] * (1 - share) + self.magnitude[below + 1] * share
        return found


def onset_curve(evidence: Evidence) -> Doubles:
    """Onset strength of all bands on an even axis, its slow background taken away.

    Returns
    -------
    float64 array, shape (n,)
        `FRAMES_PER_SECOND` of the bands (100 Hz), from the evidence's first frame. Empty for less than two frames.
    """
    total = evidence.strength.sum(axis=1)
    if len(total) < 2:
        return np.zeros(0)
    even_s = np.arange(evidence.frame_s[0], evidence.frame_s[-1], 1 / FRAMES_PER_SECOND)
    curve = np.interp(even_s, evidence.frame_s, total)
    size = min(len(curve), int(_BACKGROUND_S * FRAMES_PER_SECOND))
    if size < 2:
        return np.zeros(0)
    background = np.convolve(curve, np.ones(size) / size, "same")
    above: Doubles = curve - background
    return above


def spectrum_of(curve: Doubles) -> Spectrum:
    """Spectrum of an onset curve, at a quarter of its natural step or finer.

    Parameters
    ----------
    curve : float64 array, shape (n,)
        As `onset_curve` gives it, at 100 Hz.
    """
    size = fft.next_fast_len(max(4 * len(curve), 4096), real=True)
    return Spectrum(FRAMES_PER_SECOND / size, np.abs(fft.rfft(curve, size)))


def comb(spectrum: Spectrum, hz: Doubles) -> Doubles:
    """Summed magnitude at each frequency and its harmonics, the higher ones weighing less.

    Parameters
    ----------
    spectrum : Spectrum
    hz : float64 array, shape (n,)
        Pulse frequencies.

    Returns
    -------
    float64 array, shape (n,)
    """
    orders = np.arange(1, _COMB_HARMONICS + 1)
    parts = spectrum.at(np.multiply.outer(orders, hz).ravel()).reshape(len(orders), -1)
    weights = COMB_DECAY ** (orders - 1)
    total: Doubles = weights @ parts
    return total


def candidate_beats_hz(spectrum: Spectrum) -> tuple[float, ...]:
    """Beat frequencies worth a closer look, the strongest first."""
    step = spectrum.step_hz / 2
    hz = np.arange(SLOWEST_HZ, FASTEST_HZ, step)
    strength = comb(spectrum, hz)
    peaks = np.flatnonzero((strength[1:-1] > strength[:-2]) & (strength[1:-1] >= strength[2:])) + 1
    if not len(peaks):
        return ()
    strongest = [float(hz[peak]) for peak in peaks[np.argsort(-strength[peaks])][:6]]
    wanted = strongest + [strongest[0] * ratio for ratio in _RELATED] + [strongest[1 % len(strongest)] * 2]
    found: list[float] = []
    for beat in wanted:
        if not SLOWEST_HZ <= beat <= FASTEST_HZ:
            continue
        near = np.linspace(beat * (1 - _SAME_PULSE / 2), beat * (1 + _SAME_PULSE / 2), 61)
        refined = float(near[np.argmax(comb(spectrum, near))])
        if all(abs(refined / other - 1) > _SAME_PULSE for other in found):
            found.append(refined)
    return tuple(found[:_MAX_CANDIDATES])
