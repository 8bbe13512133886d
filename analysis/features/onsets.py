"""Onsets placed finely: the rise of the energy over about 3 ms in time, and sharp ones placed to the sample.

A frame of a spectrum smears an onset over tens of milliseconds; the energy in steps of a millisecond does not. Two
signals are kept: the full band with its highs raised, where attacks are clear, and the bass, whose notes are slow.
All numbers here are house choices.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.core.framing import Decimator, Growing, lowering_factor
from analysis.core.samples import Doubles, Floats

_STEPS_PER_SECOND = 1000
_EMPHASIS = np.float32(0.95)  # of each sample is taken from the next: raises the highs
# A sharp onset stands this far above the 10 ms before, and above this level.
_SHARP_RATIO = np.float32(6.0)
_SHARP_LEVEL = np.float32(0.002)
_SHARP_START = 0.1  # of the peak that follows: where the sound is taken to begin
_SOUND_BEGINS = 0.01  # of the peak: from there on it sounds
_ONE_FRAME_BEFORE = (0.75, 1.5)  # where the line through a sound's first two frames meets zero, when it began there
_BEFORE_STEPS, _AFTER_STEPS = 10, 4  # the past and the near future that a sharp onset is judged by
_SHARP_APART_S = 0.02
_CLEAR_RE_PAST, _BEGINS_RE_PAST, _LEAST_PAST = 1.5, 2.0, 1e-6  # against the peak of those 10 ms; -120 dBFS
# Fine onsets: loudness is power to this exponent; the quietest that counts, re the file's loud passages.
_LOUDNESS_EXPONENT = 0.25
_FLOOR_RE_LOUD = 1e-6
_LEAST_RISE = 0.06
_APART_STEPS = 25
_LOUD_STEPS, _LOUD_QUANTILE = 20, 0.99  # what a loud passage is
# Steps ahead of a rise and after it that are compared, for attacks and for bass notes.
_ATTACK_STEPS, _BASS_STEPS = (8, 3), (14, 14)
_BASS_FACTOR = 6  # by which the lowered rate is lowered once more


@dataclass(frozen=True)
class FineOnsets:
    """Rises of loudness in order of time; each array has shape (n,).

    `times_s` counts from the start of the file. `strength` 1 is a rise from silence to the file's loud passages. `band`
    is 0 for attacks, 1 for the bass.
    """

    times_s: Doubles = field(default_factory=lambda: np.zeros(0))
    strength: Floats = field(default_factory=lambda: np.zeros(0, np.float32))
    band: NDArray[np.uint8] = field(default_factory=lambda: np.zeros(0, np.uint8))

    def arrays(self, prefix: str) -> dict[str, NDArray[np.generic]]:
        """The arrays by the names under which `Features` stores them."""
        return {f"{prefix}.times_s": self.times_s, f"{prefix}.strength": self.strength, f"{prefix}.band": self.band}


@dataclass(frozen=True)
class SharpOnsets:
    """Where a sound starts out of near silence, in order of time; each array has shape (n,).

    `times_s` counts from the start of the file, `peak` is an amplitude, `ratio` is peak over what went before.
    """

    times_s: Doubles = field(default_factory=lambda: np.zeros(0))
    peak: Floats = field(default_factory=lambda: np.zeros(0, np.float32))
    ratio: Floats = field(default_factory=lambda: np.zeros(0, np.float32))

    def arrays(self, prefix: str) -> dict[str, NDArray[np.generic]]:
        """The arrays by the names under which `Features` stores them."""
        return {f"{prefix}.times_s": self.times_s, f"{prefix}.peak": self.peak, f"{prefix}.ratio": self.ratio}


class EnergyAccumulator:
    """Energy and onsets of a mono stream; `rate_hz` is how many energies there are a second."""

    def __init__(self, sample_rate_hz: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.step = max(1, round(sample_rate_hz / _STEPS_PER_SECOND))
        self.rate_hz = sample_rate_hz / self.step
        context = np.zeros(_BEFORE_STEPS * self.step, np.float32)
        self._held = context
        self._done_steps = -_BEFORE_STEPS
        self._last_sample = np.float32(0)
        self._left = np.zeros(0, np.float32)
        self._energies = Growing(2)
        self._bass = _BassEnergy(sample_rate_hz)
        self._sharp: list[tuple[float, float, float]] = []

    def add(self, mono: Floats, lowered: Floats) -> None:
        """Take the next samples. Sharp onsets are found on the way.

        Parameters
        ----------
        mono : float32 array, shape (n,)
            At the file's own rate, full scale 1.0.
        lowered : float32 array, shape (m,)
            The same sound at its rate over `lowering_factor`.
        """
        self._bass.add(lowered)
        samples = np.concatenate([self._left, mono])
        whole = len(samples) // self.step * self.step
        self._left = samples[whole:]
        self._take(samples[:whole])

    def finish(self, last: Floats) -> tuple[Floats, FineOnsets, SharpOnsets]:
        """The whole stream's energy and onsets.

        Parameters
        ----------
        last : float32 array, shape (m,)
            The last samples at the lowered rate.

        Returns
        -------
        energy : float32 array, shape (n_steps,)
            Mean square of each millisecond, full scale 1.0.
        fine : FineOnsets
        sharp : SharpOnsets
        """
        self._take(np.pad(self._left, (0, self.step - len(self._left))))
        self._find_sharp(np.zeros((_AFTER_STEPS + 1) * self.step, np.float32))
        energies = self._energies.array()
        attack = _pick_rises(energies[:, 1], self.rate_hz, *_ATTACK_STEPS)
        bass_energy, bass_rate_hz = self._bass.finish(last)
        bass = _pick_rises(bass_energy, bass_rate_hz, *_BASS_STEPS)
        return energies[:, 0].copy(), _joined(attack, bass), self._sharp_onsets()

    def _take(self, samples: Floats) -> None:
        if not len(samples):
            return
        raised = np.empty_like(samples)
        np.multiply(samples[:-1], -_EMPHASIS, out=raised[1:])
        raised[0] = -_EMPHASIS * self._last_sample
        raised += samples
        self._last_sample = samples[-1]
        parts = [part.reshape(-1, self.step) for part in (samples, raised)]
        power = [np.einsum("ij,ij->i", part, part) / self.step for part in parts]
        self._energies.add(np.stack(power, axis=1))
        self._find_sharp(samples)

    def _find_sharp(self, samples: Floats) -> None:
        """Look at every step that has its past and its near future in hand, then keep what the next call needs."""
        held = np.concatenate([self._held, samples])
        steps = len(held) // self.step
        # Turned over: a maximum over many short rows takes three times as long.
        peaks = np.abs(held[: steps * self.step].reshape(steps, self.step).T, order="C").max(axis=0)
        last = steps - _AFTER_STEPS
        if last > _BEFORE_STEPS:
            past = _running_max(peaks, _BEFORE_STEPS)[: last - _BEFORE_STEPS]
            now = peaks[_BEFORE_STEPS:last]
            for index in np.flatnonzero((now > _SHARP_RATIO * past) & (now > _SHARP_LEVEL)):
                self._place(held, int(index) + _BEFORE_STEPS, float(past[index]))
            keep = (last - _BEFORE_STEPS) * self.step
            self._held = held[keep:]
            self._done_steps += last - _BEFORE_STEPS
        else:
            self._held = held

    def _place(self, held: Floats, step: int, past: float) -> None:
        start = (step - 1) * self.step
        near = np.abs(held[start : start + (_AFTER_STEPS + 1) * self.step])
        peak = float(near.max())
        clear = int(np.argmax(near > max(_SHARP_START * peak, _CLEAR_RE_PAST * past)))
        frame = (
            self._done_steps * self.step
            + start
            + _first_frame(near, clear, max(_SOUND_BEGINS * peak, _BEGINS_RE_PAST * past))
        )
        self._sharp.append((frame / self.sample_rate_hz, peak, peak / max(past, _LEAST_PAST)))

    def _sharp_onsets(self) -> SharpOnsets:
        rows = np.array(self._sharp, dtype=np.float64).reshape(-1, 3)
        if len(rows):
            rows = rows[np.concatenate([[True], np.diff(rows[:, 0]) > _SHARP_APART_S])]
        return SharpOnsets(rows[:, 0], rows[:, 1].astype(np.float32), rows[:, 2].astype(np.float32))


def _first_frame(near: Floats, clear: int, least: float) -> int:
    """Where a sound begins that is clear at frame `clear`: a sine that starts at its zero has one frame before."""
    first = clear
    while first > 0 and near[first - 1] > least:
        first -= 1
    rise = float(near[min(first + 1, len(near) - 1)] - near[first])
    if first == 0 or rise <= 0:
        return first
    before = float(near[first]) / rise
    return first - 1 if _ONE_FRAME_BEFORE[0] < before < _ONE_FRAME_BEFORE[1] else first


class _BassEnergy:
    """Energy below some 200 Hz in millisecond steps."""

    def __init__(self, sample_rate_hz: int) -> None:
        factor = lowering_factor(sample_rate_hz)
        self._second = Decimator(_BASS_FACTOR)
        self.rate_hz = sample_rate_hz / factor / _BASS_FACTOR
        self._squares = Growing(1)

    def add(self, lowered: Floats) -> None:
        self._take(self._second.lower(lowered))

    def finish(self, last: Floats) -> tuple[Floats, float]:
        self._take(self._second.lower(last))
        self._take(self._second.last())
        return self._squares.array()[:, 0], self.rate_hz

    def _take(self, lowered: Floats) -> None:
        smooth = lowered * lowered
        self._squares.add(smooth[:, None])


def _moving_mean(values: Doubles, size: int) -> Doubles:
    """Mean of `size` values from each place on, padded with the edges: out[i] = mean(values[i : i + size])."""
    padded = np.concatenate([values, np.full(size, values[-1] if len(values) else 0.0)])
    sums = np.concatenate([[0.0], np.cumsum(padded)])
    means: Doubles = (sums[size:] - sums[:-size])[: len(values)] / size
    return np.maximum(means, 0)


def _pick_rises(energy: Floats, rate_hz: float, before: int, after: int) -> tuple[Doubles, Floats]:
    """Times and strengths of the rises of loudness: mean of `after` steps against the `before` steps ahead of it."""
    nothing = np.zeros(0), np.zeros(0, np.float32)
    if len(energy) < before + after + 2 or not energy.max() > 0:
        return nothing
    power = energy.astype(np.float64)
    reference = np.quantile(_moving_mean(power, _LOUD_STEPS), _LOUD_QUANTILE)
    if not reference > 0:
        return nothing
    power = power / reference + _FLOOR_RE_LOUD
    ahead = _moving_mean(power, after) ** _LOUDNESS_EXPONENT
    behind = np.concatenate([np.full(before, _FLOOR_RE_LOUD), power])
    behind = _moving_mean(behind, before)[: len(power)] ** _LOUDNESS_EXPONENT
    rise = np.maximum(ahead - behind, 0)
    return _peaks(rise, rate_hz)


def _peaks(rise: Doubles, rate_hz: float) -> tuple[Doubles, Floats]:
    """Local maxima over +-`_APART_STEPS`, placed between steps by a parabola."""
    wide = 2 * _APART_STEPS + 1
    padded = np.pad(rise, _APART_STEPS)
    highest = _running_max(padded, wide)
    at = np.flatnonzero((rise >= highest) & (rise > _LEAST_RISE))
    at = at[(at > 0) & (at < len(rise) - 1)]
    if len(at):
        at = at[np.concatenate([[True], np.diff(at) > 1])]
    left, mid, right = rise[at - 1], rise[at], rise[at + 1]
    bend = np.maximum(2 * mid - left - right, 1e-12)
    shift = np.clip((right - left) / (2 * bend), -0.5, 0.5)
    return (at + shift) / rate_hz, mid.astype(np.float32)


def _running_max(padded: Doubles, size: int) -> Doubles:
    """Maximum over windows of `size`, by doubling."""
    out, covered = padded, 1
    while 2 * covered <= size:
        out = np.maximum(out[:-covered], out[covered:])
        covered *= 2
    rest = size - covered
    return np.maximum(out[: len(out) - rest], out[rest:]) if rest else out


def _joined(attack: tuple[Doubles, Floats], bass: tuple[Doubles, Floats]) -> FineOnsets:
    times = np.concatenate([attack[0], bass[0]])
    band = np.repeat(np.array([0, 1], np.uint8), [len(attack[0]), len(bass[0])])
    order = np.argsort(times, kind="stable")
    return FineOnsets(times[order], np.concatenate([attack[1], bass[1]])[order], band[order])
