"""A grid fitted to fine onsets: period and phase by a robust line over the whole song.

Onsets gather at a few places within the beat (on it, half way, a swung eighth). Each place may sit anywhere, so each
has its own line; all lines share the period. That keeps swing, a late player or a soft attack from bending the tempo.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.tempo.evidence import Evidence

# House choices. Phase within the beat is counted in so many bins and smoothed by
# this spread; that many peaks are followed; an onset belongs to a place within the reach; the fit is repeated, may
# change the period by this share, and trusts residuals between these two scales.
_PHASE_BINS = 240
_SMOOTH_S = 0.011
_MAX_PLACES = 8
_REACH_S = 0.045
_ROUNDS, _TRUST_ROUNDS = 6, 4
_MOST_CHANGE = 0.02
_LEAST_SCALE_S, _MOST_SCALE_S = 0.004, 0.015
# Notes of one chord, and one note seen in two bands, are not independent witnesses (house choice: half of them are).
WITNESSES_PER_ONSET = 0.5
# Players wander together and sections differ in sound, which no number of onsets averages out. Both measured on songs
# with known tempo, so that 95 of 100 lie within their interval.
ERROR_FACTOR = 1.1
WANDERING_S = 0.0007


@dataclass(frozen=True)
class PlaceInBeat:
    """A place where onsets gather: the time of one such onset near the song's start, and its share of the weight."""

    offset_s: float
    share: float


@dataclass(frozen=True)
class GridFit:
    """Period with its standard error; places in order of weight; spread of the onsets around them."""

    period_s: float
    period_error_s: float
    places: tuple[PlaceInBeat, ...]
    spread_s: float
    explained: float

    @property
    def bpm(self) -> float:
        return 60 / self.period_s

    @property
    def bpm_error(self) -> float:
        return 60 * self.period_error_s / self.period_s**2


def fit_grid(evidence: Evidence, period_s: float) -> GridFit | None:
    """Refine a period that is right to a few hundredths of a BPM.

    Parameters
    ----------
    evidence : Evidence
        Its onsets, times in seconds and weights, are all that is used.
    period_s : float
        The beat period to start from.

    Returns
    -------
    GridFit or None
        None when fewer than four onsets lie on the grid, or the line leaves the period it started from.
    """
    times, weights = evidence.onset_s, evidence.onset_weight
    if len(times) < 4:
        return None
    origin = float(times[0])
    since = times - origin
    fit = _fit_line(since, weights, period_s, _places_in_beat(since, weights, period_s))
    for _ in range(_ROUNDS - 1):
        if fit is None:
            return None
        fit = _fit_line(since, weights, fit.period_s, _places_in_beat(since, weights, fit.period_s))
    if fit is None:
        return None
    moved = tuple(PlaceInBeat(place.offset_s + origin, place.share) for place in fit.places)
    return GridFit(fit.period_s, fit.period_error_s, moved, fit.spread_s, fit.explained)


def _phase_density(times_s: Doubles, weights: Doubles, period_s: float, *, smooth_s: float = _SMOOTH_S) -> Doubles:
    """Weight of the onsets by phase within the beat, `_PHASE_BINS` bins, smoothed around the circle."""
    bins = np.floor(times_s / period_s % 1 * _PHASE_BINS).astype(np.intp) % _PHASE_BINS
    density = np.bincount(bins, weights, _PHASE_BINS)
    apart_s = np.minimum(np.arange(_PHASE_BINS), _PHASE_BINS - np.arange(_PHASE_BINS)) * period_s / _PHASE_BINS
    kernel = np.exp(-0.5 * (apart_s / smooth_s) ** 2)
    smooth: Doubles = np.fft.irfft(np.fft.rfft(density) * np.fft.rfft(kernel / kernel.sum()), _PHASE_BINS)
    return smooth


def _places_in_beat(times_s: Doubles, weights: Doubles, period_s: float) -> Doubles:
    """Phases (0 to 1) of the peaks of the onsets' density, the heaviest first."""
    density = _phase_density(times_s, weights, period_s)
    wide = max(1, int(_REACH_S / period_s * _PHASE_BINS * 0.8))
    around = np.stack([np.roll(density, shift) for shift in range(-wide, wide + 1)])
    peaks = np.flatnonzero((density >= around.max(axis=0)) & (density > 1.15 * density.mean()))
    heaviest = peaks[np.argsort(-density[peaks])][:_MAX_PLACES]
    return (heaviest + 0.5) / _PHASE_BINS


def _fit_line(since: Doubles, weights: Doubles, period_s: float, places: Doubles) -> GridFit | None:
    if not len(places):
        return None
    apart = (since[:, None] / period_s - places[None, :] + 0.5) % 1 - 0.5
    own = np.abs(apart).argmin(axis=1)
    residual = np.take_along_axis(apart, own[:, None], 1)[:, 0] * period_s
    near = np.abs(residual) < min(_REACH_S, period_s / 8)
    if near.sum() < 4:
        return None
    count = np.rint((since - residual) / period_s - places[own])
    time, beat, place, mass = since[near], count[near], own[near], np.sqrt(weights[near])
    trust, left = mass, residual[near]
    for _ in range(_TRUST_ROUNDS):
        trust = _trust(mass, left)
        shift, slope, information = _lines(time, beat, place, trust, len(places))
        left = time - shift[place] - slope * beat
    witnesses = WITNESSES_PER_ONSET * trust.sum() ** 2 / (trust**2).sum()
    spread = float(np.sqrt((trust * left**2).sum() / trust.sum()))
    error = ERROR_FACTOR * spread / np.sqrt(max(information / trust.sum() * witnesses, 1e-12))
    error = np.hypot(error, slope * WANDERING_S * np.sqrt(12) / max(float(np.ptp(time)), 1.0))
    if information <= 0 or not abs(slope / period_s - 1) < _MOST_CHANGE:
        return None
    shares = np.bincount(place, weights[near], len(places)) / weights.sum()
    return GridFit(float(slope), float(error), _heaviest_first(shift, shares), spread, float(shares.sum()))


def _heaviest_first(shift: Doubles, shares: Doubles) -> tuple[PlaceInBeat, ...]:
    order = np.argsort(-shares)
    return tuple(PlaceInBeat(float(shift[index]), float(shares[index])) for index in order if shares[index] > 0)


def _trust(mass: Doubles, left: Doubles) -> Doubles:
    """The weights, less for what lies far off its line."""
    scale = float(np.clip(1.5 * np.median(np.abs(left)), _LEAST_SCALE_S, _MOST_SCALE_S))
    return mass / (1 + (left / (1.5 * scale)) ** 2) ** 2


def _lines(time: Doubles, beat: Doubles, place: Indices, trust: Doubles, places: int) -> tuple[Doubles, float, float]:
    """Weighted least squares with one slope and an intercept a place: (intercepts, slope, information)."""
    mass = np.maximum(np.bincount(place, trust, places), 1e-12)
    mean_beat = np.bincount(place, trust * beat, places) / mass
    mean_time = np.bincount(place, trust * time, places) / mass
    across = beat - mean_beat[place]
    information = float((trust * across**2).sum())
    slope = float((trust * across * (time - mean_time[place])).sum() / max(information, 1e-12))
    return mean_time - slope * mean_beat, slope, information
