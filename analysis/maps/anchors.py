"""A tempo map by hand: anchors on bar lines, and between two of them one tempo, or one that goes evenly from one to the
other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from analysis.maps.tempo_map import SECONDS_PER_MINUTE, MeterSign, Segment, TempoMap, TempoMapError, exact

# More than a song has bars (house choice).
_MOST_ANCHORS = 2_000
# A ramp may not leave what a tempo can be on its way: 1000 BPM, as in `TempoMap`.
_LEAST_BEAT_S = Fraction(SECONDS_PER_MINUTE, 1_000)


@dataclass(frozen=True)
class Anchor:
    """`bar` begins at `time_s`; its meter holds to the next anchor. With `ramps` the tempo goes on from the one before
    and changes evenly, bar by bar, up to the next anchor. Where `free`, the bars up to the next anchor are counted and
    have no grid, whatever `ramps` says."""

    bar: int
    time_s: Fraction
    meter: MeterSign
    ramps: bool = False
    free: bool = False

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Anchor:
        meter = MeterSign.parse(str(data["meter"]))
        return cls(int(data["bar"]), exact(data["time_s"]), meter, bool(data.get("ramps")), bool(data.get("free")))

    def to_json(self) -> dict[str, Any]:
        data = {"bar": self.bar, "time_s": float(self.time_s), "meter": str(self.meter), "ramps": self.ramps}
        return data | {"free": True} if self.free else data


def anchors_of(tempo_map: TempoMap) -> tuple[Anchor, ...]:
    return tuple(Anchor(one.bar, one.time_s, one.meter, free=one.free) for one in tempo_map.segments)


def map_through(anchors: Sequence[Anchor], *, last_bpm: Fraction) -> TempoMap:
    """The map whose bar lines pass through every anchor; after the last one the beat runs at `last_bpm`.

    Raises TempoMapError with a sentence when no map does.
    """
    if not anchors:
        raise TempoMapError("a tempo map needs an anchor")
    if len(anchors) > _MOST_ANCHORS:
        raise TempoMapError(f"more than {_MOST_ANCHORS} anchors")
    segments: list[Segment] = []
    for one, two in pairwise(anchors):
        if two.bar <= one.bar or two.time_s <= one.time_s:
            raise TempoMapError(f"bar {two.bar} does not come after bar {one.bar}")
        before = segments[-1].beat_s if one.ramps and not one.free and segments and not segments[-1].free else None
        segments += _ramped(one, two, before) if before else [_straight(one, two)]
    last = anchors[-1]
    segments.append(Segment(last.bar, last.time_s, last_bpm, last.meter, last.free))
    return TempoMap(tuple(segments))


def _straight(one: Anchor, two: Anchor) -> Segment:
    beats = (two.bar - one.bar) * one.meter.beats_per_bar
    return Segment(one.bar, one.time_s, SECONDS_PER_MINUTE * beats / (two.time_s - one.time_s), one.meter, one.free)


def _ramped(one: Anchor, two: Anchor, beat_s: Fraction) -> list[Segment]:
    """A segment a bar, whose beats grow or shrink by the same step, so that together they fill the time.

    With n bars of b beats, the k-th bar's beat is beat_s + step * (k + 1/2); the sum over k gives the step.
    """
    bars, beats = two.bar - one.bar, one.meter.beats_per_bar
    step = ((two.time_s - one.time_s) / beats - bars * beat_s) * 2 / bars**2
    segments, time_s = [], one.time_s
    for bar in range(bars):
        own_beat_s = beat_s + step * (bar + Fraction(1, 2))
        if own_beat_s < _LEAST_BEAT_S:
            raise TempoMapError(f"no tempo ramp is possible from bar {one.bar} to bar {two.bar}")
        segments.append(Segment(one.bar + bar, time_s, SECONDS_PER_MINUTE / own_beat_s, one.meter))
        time_s += own_beat_s * beats
    return segments
