"""When beats and bars fall: exact rational times from a tempo plan and one meter a bar.

Beats here are felt beats: the quarter in 4/4 or 5/4, the dotted quarter in 6/8 and 12/8, the eighth in 7/8.
The plans' defaults are house choices.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, Protocol, Self

import numpy as np

from analysis.core.samples import Doubles
from analysis.maps.tempo_map import MeterSign, round_half_up

TempoKind = Literal["constant", "drift", "step", "slowing", "rubato"]

# In a second.
_MICROSECONDS = 10**6


@dataclass(frozen=True)
class BeatPlace:
    """Felt beat number `beat` (from 0), in bar `bar` (from 1), with `left` beats to the end, itself included."""

    beat: int
    bar: int
    left: int


class TempoPlan(Protocol):
    """How fast each felt beat goes. `bpm` is the tempo that the song is called by."""

    @property
    def bpm(self) -> Fraction: ...
    @property
    def kind(self) -> TempoKind: ...
    def beat_s(self, place: BeatPlace) -> Fraction: ...


def _rounded_beat_s(bpm: float) -> Fraction:
    """A beat of a moving tempo, to the microsecond: sums of such beats stay exact and cheap."""
    return Fraction(round(60 * _MICROSECONDS / bpm), _MICROSECONDS)


@dataclass(frozen=True)
class Steady:
    bpm: Fraction
    kind: TempoKind = "constant"

    def beat_s(self, place: BeatPlace) -> Fraction:  # noqa: ARG002 - every beat is alike
        return 60 / self.bpm


@dataclass(frozen=True)
class Step:
    """One tempo, then another from the start of bar `at_bar` on."""

    bpm: Fraction
    then_bpm: Fraction
    at_bar: int
    kind: TempoKind = "step"

    def beat_s(self, place: BeatPlace) -> Fraction:
        return 60 / (self.then_bpm if place.bar >= self.at_bar else self.bpm)


@dataclass(frozen=True)
class Drift:
    """A tempo that swings slowly around `bpm` by +/- `depth` (0.02 is 2 %), as a band without a click does."""

    bpm: Fraction
    depth: float = 0.02
    period_beats: float = 80.0
    phase: float = 0.0
    kind: TempoKind = "drift"

    def beat_s(self, place: BeatPlace) -> Fraction:
        turn = 2 * math.pi * (place.beat / self.period_beats + self.phase)
        return _rounded_beat_s(float(self.bpm) * (1 + self.depth * math.sin(turn)))


@dataclass(frozen=True)
class Slowing:
    """A steady tempo whose last `last_beats` slow down evenly, by `by` of the tempo at the very end."""

    bpm: Fraction
    last_beats: int = 8
    by: float = 0.35
    kind: TempoKind = "slowing"

    def beat_s(self, place: BeatPlace) -> Fraction:
        if place.left > self.last_beats:
            return 60 / self.bpm
        done = (self.last_beats - place.left + 0.5) / self.last_beats
        return _rounded_beat_s(float(self.bpm) * (1 - self.by * done))


@dataclass(frozen=True)
class Rubato:
    """Free playing: the tempo breathes with every phrase and leans on single beats."""

    bpm: Fraction
    depth: float = 0.12
    seed: int = 0
    kind: TempoKind = "rubato"

    def beat_s(self, place: BeatPlace) -> Fraction:
        lean = float(np.random.default_rng((self.seed, place.beat)).normal(0, self.depth / 2))
        breath = self.depth * math.sin(2 * math.pi * (place.beat / 13.7 + self.seed % 7 / 7))
        return _rounded_beat_s(float(self.bpm) * max(0.4, 1 + lean + breath))


@dataclass(frozen=True)
class Clock:
    """Exact times of every felt beat and bar line, from bar one to the end of the last bar."""

    bar_one_s: Fraction
    meters: tuple[MeterSign, ...]
    beat_starts_s: tuple[Fraction, ...]
    bar_first_beats: tuple[int, ...]

    @classmethod
    def from_plan(cls, plan: TempoPlan, meters: tuple[MeterSign, ...], bar_one_s: Fraction) -> Self:
        total = sum(meter.beats_per_bar for meter in meters)
        starts, first_beats, beat, now_s = [bar_one_s], [0], 0, bar_one_s
        for bar, meter in enumerate(meters, 1):
            stretch = meter.quarters_per_beat / meters[0].quarters_per_beat
            for _ in range(meter.beats_per_bar):
                now_s += plan.beat_s(BeatPlace(beat, bar, total - beat)) * stretch
                beat += 1
                starts.append(now_s)
            first_beats.append(beat)
        return cls(bar_one_s, meters, tuple(starts), tuple(first_beats))

    @property
    def bars(self) -> int:
        return len(self.meters)

    def time_of_beat(self, beat: Fraction | int) -> Fraction:
        """Seconds at a felt beat counted from bar one; before it and past the end the nearest tempo goes on."""
        starts = self.beat_starts_s
        whole = min(max(math.floor(beat), 0), len(starts) - 2)
        return starts[whole] + (beat - whole) * (starts[whole + 1] - starts[whole])

    def times_of_beats(self, beats: Doubles) -> Doubles:
        """As `time_of_beat`, for many beats at once and in floating point.

        Parameters
        ----------
        beats : float64 array, shape (n,)
            Felt beats counted from bar one.

        Returns
        -------
        float64 array, shape (n,)
            Seconds.
        """
        starts = np.array([float(start) for start in self.beat_starts_s])
        whole = np.clip(np.floor(beats).astype(np.int64), 0, len(starts) - 2)
        times: Doubles = starts[whole] + (beats - whole) * (starts[whole + 1] - starts[whole])
        return times

    def time_of_bar(self, bar: int, beat: Fraction | int = 0) -> Fraction:
        """Seconds at `beat` (from 0) of `bar` (from 1; the bar after the last is allowed)."""
        if bar < 1:
            return self.time_of_beat((bar - 1) * self.meters[0].beats_per_bar + beat)
        return self.time_of_beat(self.bar_first_beats[bar - 1] + beat)

    def frame_of_bar(self, bar: int, sample_rate_hz: int, beat: Fraction | int = 0) -> int:
        """The nearest frame, from the exact time and never from rounded beats."""
        return round_half_up(self.time_of_bar(bar, beat) * sample_rate_hz)
