"""The song's tempo map, exact: bars and beats to seconds and frames by rational arithmetic, rounded only at the end.

A position is always computed from the exact tempo, never by adding rounded beats: 112 BPM at 48 kHz lands bar 113 on
frame 11 520 000, while adding up the rounded beat would miss it by 128 frames.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any, Self

from analysis.core.reports import MapSegment

SECONDS_PER_MINUTE = 60
# A segment's end as its stated tempo gives it may differ this much from the next segment's stated time and still be
# taken as the same point, written down with rounding. Beyond it the times are anchors, and they win over the tempo
# (house choice: half a frame at 48 kHz).
_SAME_POINT_S = Fraction(1, 100_000)


# The slowest that Set Tempo can say, in three bytes of microseconds (SMF 1.1, `FF 51 03`): the tempo-map file could not
# lead through a free passage that counts as fewer bars.
_LONGEST_QUARTER_S = Fraction(0xFFFFFF, 1_000_000)
# Longer bars than this are typing errors: nobody counts them (house choice).
MOST_IN_A_BAR = 32
# Lower numbers of a time signature: powers of two, as in SMF 1.1 (`FF 58 04`), down to the 32nd (house choice).
NOTE_VALUES = (1, 2, 4, 8, 16, 32)
_NOTE_NAMES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}


class TempoMapError(ValueError):
    """A map that cannot be: no segment, a tempo out of range, bars or times that run backwards."""


def exact(value: float | int | str | Fraction) -> Fraction:
    """The decimal that a person would read: 92.1 becomes 921/10, not the nearest binary float."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


def round_half_up(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


@dataclass(frozen=True)
class MeterSign:
    """A time signature and the beat felt in it: the dotted quarter in 6/8, 9/8 and 12/8, else the lower number."""

    upper: int
    lower: int

    def __post_init__(self) -> None:
        if not 1 <= self.upper <= MOST_IN_A_BAR:
            raise TempoMapError(f"{self} is not a meter: a bar has 1 to {MOST_IN_A_BAR} beats")
        if self.lower not in NOTE_VALUES:
            raise TempoMapError(f"{self} is not a meter: there is no note of 1/{self.lower} to count in")

    @classmethod
    def parse(cls, text: str) -> Self:
        upper, _, lower = text.partition("/")
        if not (upper.strip().isdigit() and lower.strip().isdigit()):
            raise TempoMapError(f"not a meter: {text!r}")
        return cls(int(upper), int(lower))

    @property
    def is_compound(self) -> bool:
        return self.lower >= 8 and self.upper > 3 and self.upper % 3 == 0

    @property
    def beats_per_bar(self) -> int:
        return self.upper // 3 if self.is_compound else self.upper

    @property
    def quarters_per_beat(self) -> Fraction:
        return Fraction(4, self.lower) * (3 if self.is_compound else 1)

    @property
    def beat_name(self) -> str:
        """The note that the tempo counts: "quarter", "dotted quarter" in 6/8, "eighth" in 7/8."""
        note = _NOTE_NAMES[self.lower // 2 if self.is_compound else self.lower]
        return f"dotted {note}" if self.is_compound else note

    def __str__(self) -> str:
        return f"{self.upper}/{self.lower}"


def beat_name_of(meter: str | None) -> str:
    """The note that a tempo in this meter counts; empty for what is no meter."""
    try:
        return MeterSign.parse(meter).beat_name if meter else ""
    except TempoMapError:
        return ""


@dataclass(frozen=True)
class Segment:
    """From `bar` on, which starts at `time_s`, beats run at `bpm` in `meter`.

    A `free` one is played without a beat: its bars are counted, so that later bars keep their numbers, and its tempo
    is only what leads to the next segment. Nothing is laid on its beats and nothing is held against them.
    """

    bar: int
    time_s: Fraction
    bpm: Fraction
    meter: MeterSign
    free: bool = False

    @property
    def beat_s(self) -> Fraction:
        return SECONDS_PER_MINUTE / self.bpm

    @property
    def bar_s(self) -> Fraction:
        return self.beat_s * self.meter.beats_per_bar


@dataclass(frozen=True)
class BarBeat:
    """A musical position: bar (1 is bar one; 0 and below lie before it) and beat within it, counted from 0."""

    bar: int
    beat: float


@dataclass(frozen=True)
class FreeStretch:
    """A passage without a grid: from the start of `bar` to that of `end_bar`, or to the end of the song (None)."""

    bar: int
    time_s: Fraction
    end_bar: int | None = None
    end_s: Fraction | None = None


@dataclass(frozen=True)
class TempoMap:
    """Segments in order of bars; the first holds for everything before it as well.

    Where there is no grid, `is_free_bar`, `is_free_at` and `free_stretches` say it to all who lay beats or hold
    playing against them.
    """

    segments: tuple[Segment, ...]

    def __post_init__(self) -> None:
        if not self.segments:
            raise TempoMapError("a tempo map needs a segment")
        for segment in self.segments:
            if not 1 <= segment.bpm <= 1000:
                raise TempoMapError(f"tempo out of range: {float(segment.bpm)}")
            if segment.free and segment.beat_s > _LONGEST_QUARTER_S * segment.meter.quarters_per_beat:
                raise TempoMapError(f"bar {segment.bar} is a free passage that is too long for its bars: use more bars")
        for one, two in zip(self.segments, self.segments[1:], strict=False):
            if two.bar <= one.bar or two.time_s <= one.time_s:
                raise TempoMapError(f"bar {two.bar} does not come after bar {one.bar}")

    @classmethod
    def constant(cls, bpm: float | str | Fraction, meter: str = "4/4", bar_one_s: float | Fraction = 0) -> Self:
        return cls((Segment(1, exact(bar_one_s), exact(bpm), MeterSign.parse(meter)),))

    @classmethod
    def from_segments(cls, segments: Sequence[MapSegment]) -> Self:
        return cls(_reconciled([_read_segment(segment.to_json()) for segment in segments]))

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        """Read the map object. Times are anchors; a stated tempo that leads to the next anchor is kept exactly."""
        try:
            segments = [_read_segment(item) for item in data["segments"]]
        except (KeyError, TypeError, ValueError, ZeroDivisionError) as error:
            raise TempoMapError(f"not a tempo map: {error}") from error
        return cls(_reconciled(segments))

    def to_json(self) -> dict[str, Any]:
        return {"bar_one_s": float(self.time_of_bar(1)), "segments": [_write_segment(item) for item in self.segments]}

    @property
    def bar_one_s(self) -> Fraction:
        return self.time_of_bar(1)

    @property
    def first_in_time(self) -> Segment:
        """The first whose tempo is one that somebody keeps; in a song that is free throughout, the first."""
        return next((one for one in self.segments if not one.free), self.segments[0])

    @cached_property
    def _bars(self) -> list[int]:
        return [item.bar for item in self.segments]

    @cached_property
    def _times_s(self) -> list[Fraction]:
        return [item.time_s for item in self.segments]

    def segment_at_bar(self, bar: int) -> Segment:
        return self.segments[max(0, bisect_right(self._bars, bar) - 1)]

    def segment_at(self, time_s: float | Fraction) -> Segment:
        return self.segments[max(0, bisect_right(self._times_s, exact(time_s)) - 1)]

    def is_free_bar(self, bar: int) -> bool:
        return self.segment_at_bar(bar).free

    def is_free_at(self, time_s: float | Fraction) -> bool:
        return self.segment_at(time_s).free

    @property
    def free_stretches(self) -> tuple[FreeStretch, ...]:
        """In order of time; free segments that follow on one another are one stretch."""
        found: list[FreeStretch] = []
        for one, two in zip(self.segments, [*self.segments[1:], None], strict=True):
            if not one.free:
                continue
            end = (two.bar, two.time_s) if two else (None, None)
            if found and found[-1].end_bar == one.bar:
                found[-1] = replace(found[-1], end_bar=end[0], end_s=end[1])
            else:
                found.append(FreeStretch(one.bar, one.time_s, *end))
        return tuple(found)

    def time_of_bar(self, bar: int, beat: float | Fraction = 0) -> Fraction:
        """Seconds at which `beat` (from 0) of `bar` begins; bars before the first segment run on at its tempo."""
        segment = self.segment_at_bar(bar)
        beats = (bar - segment.bar) * segment.meter.beats_per_bar + exact(beat)
        return segment.time_s + beats * segment.beat_s

    def frame_of_bar(self, bar: int, sample_rate_hz: int, beat: float | Fraction = 0) -> int:
        return round_half_up(self.time_of_bar(bar, beat) * sample_rate_hz)

    def bar_beat_at(self, time_s: float | Fraction) -> BarBeat:
        segment = self.segment_at(time_s)
        beats = (exact(time_s) - segment.time_s) / segment.beat_s
        bars = math.floor(beats / segment.meter.beats_per_bar)
        return BarBeat(segment.bar + bars, float(beats - bars * segment.meter.beats_per_bar))


def _read_segment(item: dict[str, Any]) -> Segment:
    bpm = item.get("bpm_exact") or item["bpm"]
    return Segment(
        int(item["bar"]), exact(item["time_s"]), exact(bpm), MeterSign.parse(str(item["meter"])), bool(item.get("free"))
    )


def _write_segment(segment: Segment) -> dict[str, Any]:
    data: dict[str, Any] = {
        "bar": segment.bar,
        "time_s": float(segment.time_s),
        "bpm": float(segment.bpm),
        "meter": str(segment.meter),
    }
    if exact(float(segment.bpm)) != segment.bpm:
        data["bpm_exact"] = str(segment.bpm)
    return data | {"free": True} if segment.free else data


def _reconciled(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """Make tempo and anchors agree: keep the stated tempo where it leads to the next anchor, else bend it."""
    fixed = list(segments)
    for index, (one, two) in enumerate(zip(fixed, segments[1:], strict=False)):
        bars = two.bar - one.bar
        if bars <= 0 or two.time_s <= one.time_s or one.bpm <= 0:
            break  # TempoMap says what is wrong with it
        end = one.time_s + bars * one.bar_s
        if abs(end - two.time_s) <= _SAME_POINT_S:
            fixed[index + 1] = replace(two, time_s=end)
        else:
            beats = bars * one.meter.beats_per_bar
            bpm = SECONDS_PER_MINUTE * beats / (two.time_s - one.time_s)
            fixed[index] = replace(one, bpm=bpm)
    return tuple(fixed)
