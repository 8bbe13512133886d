"""When kick, snare and hat are struck in a take that is mixed already, to a fraction of a millisecond.

Three bands tell them apart: what only a kick moves, where sticks and beaters sound, and cymbals. Strokes that fall
together must not pull each other: a hat under a snare is left out, since the snare's wires reach into its band, and a
kick under a snare is timed by its low band alone, whose slow rise is corrected by the kicks whose beater is heard. Toms
count with what they sound like. Music in the mix adds strokes of its own. All numbers here are house choices.

Tested in `tests/analysis/delivery/test_feel.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from analysis.core.framing import Growing
from analysis.core.samples import Doubles, Flags, Samples
from analysis.features.feature_arrays import mix_down

# Steps of the envelopes, a second.
_STEPS = 4_000
_LOW_HZ, _STICK_HZ, _HIGH_HZ = (32.0, 110.0), (900.0, 3_500.0), 8_000.0
# A stroke is this loud among its band's loudest ones, and rises this much above what rang before. Beaters are quiet
# beside snares.
_LEAST_RE_LOUD, _LOUD, _LEAST_RISE = (0.25, 0.04, 0.25), 0.95, 2.0
_LEAST_SNARE = 0.25
# Seconds: how long after its start a stroke may peak, how far apart strokes of a band lie, and what counts as ringing
# before it. The low band is slower.
_PEAK_S, _APART_S, _RANG_S = (0.03, 0.008, 0.006), (0.08, 0.05, 0.04), ((0.05, 0.02), (0.02, 0.008), (0.02, 0.008))
# A stroke begins where it has come this share of the way to its peak.
_BEGINS = 0.2
# Strokes that fall together lie this close.
_TOGETHER_S = 0.03
# A snare sounds so many times louder in the stick band than a kick's beater, and so loud there for its wires above; a
# hat is thinner than that (snares 0.24 and more, hats up to 0.14: seen on made kits).
_OVER_BEATER, _SNARE_RE_HIGH, _LOW_RE_OTHERS = 2.5, 0.19, 0.3
# How late each band sees a stroke of no rise (derived from its filter, checked in the test); the low band's is learned
# where it can be.
_SEEN_LATE_S = (0.0062, 0.0004, 0.0007)
_FEWEST_TO_LEARN = 6
# The low band's rise is as slow as the kick is soft, within this; what sounds further from it is no beater but a hat
# that is as dull (seen with recorded strokes: distances of 20 ms either way).
_BEATER_S = 0.003
# What the low band does again so soon after a stroke may be its ring (108 ms in a hall: seen). Under a snare a kick is
# nearly as loud as elsewhere; snares leave a third to a half of that there (seen).
_RINGS_S, _KICK_UNDER_SNARE = 0.15, 0.75


@dataclass(frozen=True)
class DrumHits:
    """Times in seconds, in order; each array has shape (n,)."""

    low_s: Doubles
    middle_s: Doubles
    high_s: Doubles


class HitMeter:
    """Feed blocks in order with `add`, then take the hits with `finish`."""

    def __init__(self, sample_rate_hz: int) -> None:
        top = min(_HIGH_HZ, 0.4 * sample_rate_hz)
        self._filters = [
            signal.butter(3, _LOW_HZ, "bandpass", fs=sample_rate_hz, output="sos"),
            signal.butter(2, _STICK_HZ, "bandpass", fs=sample_rate_hz, output="sos"),
            signal.butter(4, top, "highpass", fs=sample_rate_hz, output="sos"),
        ]
        self._states = [np.zeros((len(sections), 2)) for sections in self._filters]
        self._step = max(1, round(sample_rate_hz / _STEPS))
        self._rate_hz = sample_rate_hz / self._step
        self._left = np.zeros(0, np.float32)
        self._energies = Growing(len(self._filters))

    def add(self, block: Samples) -> None:
        """Take the next frames.

        Parameters
        ----------
        block : float array, shape (n_frames, n_channels)
            Full scale is 1.0. Not modified.
        """
        mono = np.concatenate([self._left, mix_down(block)])
        whole = len(mono) // self._step * self._step
        self._left = mono[whole:]
        if not whole:
            return
        energies = np.empty((whole // self._step, len(self._filters)), np.float32)
        for band, sections in enumerate(self._filters):
            sound, self._states[band] = signal.sosfilt(sections, mono[:whole], zi=self._states[band])
            energies[:, band] = (sound.reshape(-1, self._step) ** 2).mean(axis=1)
        self._energies.add(energies)

    def finish(self) -> DrumHits:
        levels = np.sqrt(self._energies.array().astype(np.float64))
        low, stick, high = (_strokes(_smoothed(levels[:, band], band), band, self._rate_hz) for band in range(3))
        return _told_apart(low, stick, high)


@dataclass(frozen=True)
class _Band:
    times_s: Doubles
    peaks: Doubles

    def beside(self, times_s: Doubles) -> tuple[Doubles, Doubles]:
        """Of the stroke that falls together with each time: its distance (late is positive) and its peak; infinity and
        0.0 where there is none."""
        if not len(self.times_s):
            return np.full(len(times_s), np.inf), np.zeros(len(times_s))
        after = np.clip(np.searchsorted(self.times_s, times_s), 1, max(1, len(self.times_s) - 1))
        after = np.minimum(after, len(self.times_s) - 1)
        before = np.maximum(after - 1, 0)
        nearer = np.abs(self.times_s[before] - times_s) < np.abs(self.times_s[after] - times_s)
        place = np.where(nearer, before, after)
        apart = self.times_s[place] - times_s
        together = np.abs(apart) <= _TOGETHER_S
        return np.where(together, apart, np.inf), np.where(together, self.peaks[place], 0.0)


def _smoothed(level: Doubles, band: int) -> Doubles:
    """The low band's envelope over a period of its own, or it would follow the wave."""
    steps = round(_STEPS / 60) if band == 0 else 3
    if len(level) < steps:
        return level
    window = np.ones(steps) / steps
    smooth: Doubles = np.sqrt(np.convolve(level**2, window)[: len(level)])
    return smooth


def _strokes(level: Doubles, band: int, rate_hz: float) -> _Band:
    """Places where the envelope rises well above what rang before, from loud strokes down."""
    peak_steps, apart = round(_PEAK_S[band] * rate_hz), round(_APART_S[band] * rate_hz)
    if len(level) < 4 * apart:
        return _Band(np.zeros(0), np.zeros(0))
    peaks, _ = signal.find_peaks(level, distance=apart)
    if not len(peaks):
        return _Band(np.zeros(0), np.zeros(0))
    peaks = peaks[level[peaks] >= _LEAST_RE_LOUD[band] * np.quantile(level[peaks], _LOUD)]
    far, near = (round(span * rate_hz) for span in _RANG_S[band])
    found: list[tuple[float, float]] = []
    for peak in peaks:
        first = max(0, peak - 2 * peak_steps)
        base = float(np.median(level[max(0, first - far) : max(1, first - near + 1)]))
        if level[peak] < _LEAST_RISE * base:
            continue
        due = base + _BEGINS * (level[peak] - base)
        at = _before_start(level, peak, due, peak_steps if band else 2 * peak_steps, whole=band == 0)
        if at is None:
            continue
        place = at + (due - level[at]) / max(level[at + 1] - level[at], 1e-12)
        found.append(((place + 0.5) / rate_hz - _SEEN_LATE_S[band], float(level[peak] - base)))
    rows = np.array(found).reshape(-1, 2)
    return _Band(rows[:, 0], rows[:, 1])


def _before_start(level: Doubles, peak: int, due: float, reach: int, *, whole: bool) -> int | None:
    """The last step before the stroke comes through `due`. Close microphones sound before the others and may dip
    between: the first way through counts, but where the rise is one whole."""
    first = max(0, peak - reach)
    under = np.flatnonzero(level[first : peak + 1] < due)
    if not len(under) or first + under[-1] >= peak:
        return None
    if whole or under[0] > 0:
        return first + int(under[-1])
    over = np.flatnonzero(level[first : peak + 1] >= due)
    return first + int(over[0]) - 1


def _told_apart(low: _Band, stick: _Band, high: _Band) -> DrumHits:
    low = _without_leaks(low, stick, high)
    beater_apart, beater = stick.beside(low.times_s)
    _, kick_under = low.beside(stick.times_s)
    _, over = high.beside(stick.times_s)
    loud = stick.peaks >= _LEAST_SNARE * _loud_one(stick)
    is_snare = loud & (stick.peaks > _OVER_BEATER * _beater_ratio(low, beater) * kick_under)
    is_snare &= stick.peaks >= _SNARE_RE_HIGH * over
    snares = _Band(stick.times_s[is_snare], stick.peaks[is_snare])
    _, snare_over = snares.beside(low.times_s)
    alone = snare_over == 0.0
    heard = np.isfinite(beater_apart) & alone
    late = float(np.median(-beater_apart[heard])) if heard.sum() >= _FEWEST_TO_LEARN else 0.0
    its_own = heard & (np.abs(beater_apart + late) <= _BEATER_S)
    kicks = low.times_s + np.where(its_own, beater_apart, -late)
    kicks = kicks[alone | (low.peaks >= _KICK_UNDER_SNARE * _usual_peak(low, alone))]
    _, under = stick.beside(high.times_s)
    return DrumHits(np.sort(kicks), snares.times_s, high.times_s[under < _SNARE_RE_HIGH * high.peaks])


def _without_leaks(low: _Band, stick: _Band, high: _Band) -> _Band:
    """A kick moves more air below than snares and cymbals leave there, and is struck: what rises again soon after a
    stroke, and nowhere else, rings."""
    stick_beside, high_beside = stick.beside(low.times_s)[1], high.beside(low.times_s)[1]
    moved = low.peaks >= _LOW_RE_OTHERS * np.maximum(stick_beside, high_beside)
    soon = np.diff(low.times_s, prepend=-np.inf) < _RINGS_S
    kept = moved & ~(soon & (stick_beside == 0.0) & (high_beside == 0.0))
    return _Band(low.times_s[kept], low.peaks[kept])


def _usual_peak(band: _Band, wanted: Flags) -> float:
    return float(np.median(band.peaks[wanted])) if wanted.any() else 0.0


def _loud_one(band: _Band) -> float:
    return float(np.quantile(band.peaks, _LOUD)) if len(band.peaks) else 0.0


def _beater_ratio(low: _Band, beater: Doubles) -> float:
    """How loud a beater is in the stick band for its loudness in the low one: of the duller half of all kicks."""
    heard = beater > 0.0
    return float(np.quantile(beater[heard] / low.peaks[heard], 0.25)) if heard.any() else 0.0
