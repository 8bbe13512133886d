"""How a rhythm is spelled: places and lengths to notes, rests, ties, triplets and beams.

A note that crosses a beat is tied where a reader looks for the beat: a value is written whole when it lies within a
felt beat, when it begins on a beat and does not hide the middle of a 4/4 bar, or when it is a quarter between two
eighths of one half. Rests are not dotted but for whole beats of compound meters (all common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, zip_longest
from typing import Any

from analysis.chart.beats import SIXTEENTH, TRIPLET, bar_quarters
from analysis.maps.tempo_map import MeterSign

# Quarters of the values that are printed, the longest first: (length, 1/n of a whole, dots).
_VALUES = tuple(
    (Fraction(4, part) * (Fraction(3, 2) if dots else 1), part, dots)
    for part in (1, 2, 4, 8, 16, 32)
    for dots in (1, 0)
)


@dataclass(frozen=True)
class Onset:
    """What begins in a bar: quarters from the bar line, how long it is meant to sound, and what it is. `continued`
    sounds over from the bar before."""

    start: Fraction
    length: Fraction
    what: Any = None
    continued: bool = False


@dataclass(frozen=True)
class Value:
    """One printed note or rest. `part` 4 is a quarter; `what` is None for a rest; `beam` and `triplet` number groups
    within the bar; a tied note sounds on into the next one, or over the bar line."""

    start: Fraction
    length: Fraction
    part: int
    dots: int
    what: Any = None
    first: bool = True  # not the continuation of a tied note
    tied: bool = False
    triplet: int | None = None
    beam: int | None = None

    @property
    def is_rest(self) -> bool:
        return self.what is None


def spelled(onsets: Sequence[Onset], meter: MeterSign) -> tuple[Value, ...]:
    """The whole bar, without gaps. An onset ends where the next one begins; one that sounds beyond the bar is tied."""
    return _beamed([value for piece in _pieces(onsets, meter) for value in _printed(piece, meter)], beat_length(meter))


def beat_length(meter: MeterSign) -> Fraction:
    """Quarters of the group in which values are read: the felt beat, but a quarter at least (a whole bar of 3/8)."""
    if meter.upper == 3 and meter.lower >= 8:
        return bar_quarters(meter)
    return meter.quarters_per_beat if meter.is_compound else max(Fraction(1), meter.quarters_per_beat)


@dataclass(frozen=True)
class _Piece:
    start: Fraction
    end: Fraction
    what: Any
    beyond: bool = False
    continued: bool = False


def _pieces(onsets: Sequence[Onset], meter: MeterSign) -> Iterator[_Piece]:
    """Notes and the rests between them."""
    whole = bar_quarters(meter)
    at = Fraction(0)
    ordered = sorted(onsets, key=lambda one: one.start)
    triplets = {quarter for one in ordered if (quarter := _triplet_quarter(one.start)) is not None}
    for onset, after in zip_longest(ordered, ordered[1:]):
        if onset.start > at:
            yield _Piece(at, onset.start, None)
        end = min(_written_end(onset, whole, triplets), after.start if after else whole)
        beyond = after is None and onset.start + onset.length > whole
        yield _Piece(onset.start, end, onset.what, beyond, onset.continued)
        at = end
    if at < whole:
        yield _Piece(at, whole, None)


def _written_end(onset: Onset, whole: Fraction, triplets: set[int]) -> Fraction:
    """Where an onset ends, moved to what can be written: thirds in a quarter that has triplets, else sixteenths."""
    end = onset.start + onset.length
    if end >= whole:
        return whole
    quarter = int(end)
    alone = onset.start == quarter and end * 3 % 1 == 0
    step = TRIPLET if quarter in triplets or alone else SIXTEENTH
    down = end // step * step
    return down if down > onset.start else down + step


def _printed(piece: _Piece, meter: MeterSign) -> list[Value]:
    """The values of one note, tied, or of one rest."""
    spans = pairwise([piece.start, *_cuts(piece, meter), piece.end])
    fill = _rests if piece.what is None else _notes
    parts = [value for start, end in spans for value in _filled(start, end, meter, fill)]
    if piece.what is None:
        return parts
    last = len(parts) - 1
    return [
        replace(value, what=piece.what, first=index == 0 and not piece.continued, tied=index < last or piece.beyond)
        for index, value in enumerate(parts)
    ]


def _cuts(piece: _Piece, meter: MeterSign) -> list[Fraction]:
    """Where a note or rest must be divided: at the edges of triplets, and a note at beats that it may not cross."""
    quarters = {quarter for at in (piece.start, piece.end) if (quarter := _triplet_quarter(at)) is not None}
    cuts = {Fraction(edge) for quarter in quarters for edge in (quarter, quarter + 1)}
    if piece.what is not None:
        beat = beat_length(meter)
        first = (piece.start // beat + 1) * beat
        beats = (first + index * beat for index in range(int((piece.end - first) / beat) + 1))
        cuts |= {at for at in beats if quarters or not _may_cross(piece, at, meter)}
    return sorted(at for at in cuts if piece.start < at < piece.end)


def _may_cross(piece: _Piece, at: Fraction, meter: MeterSign) -> bool:
    """Whether the beat at `at` may lie inside a note."""
    beat, start, length = beat_length(meter), piece.start, piece.end - piece.start
    middle = 2 * beat if meter.beats_per_bar == 4 else None
    if start % beat == 0:
        return start == 0 or at != middle
    short = not meter.is_compound and length == beat and start % (beat / 2) == 0
    return short and at != middle


_Fill = Callable[[Fraction, Fraction, MeterSign], tuple[Fraction, int, int]]


def _filled(start: Fraction, end: Fraction, meter: MeterSign, fill: _Fill) -> Iterator[Value]:
    quarter = _triplet_quarter(start)
    if quarter is None:
        quarter = _triplet_quarter(end)
    if quarter is not None:
        yield Value(start, end - start, 4 if end - start == 2 * TRIPLET else 8, 0, triplet=quarter)
        return
    while start < end:
        length, part, dots = fill(start, end - start, meter)
        yield Value(start, length, part, dots)
        start += length


def _notes(start: Fraction, room: Fraction, meter: MeterSign) -> tuple[Fraction, int, int]:
    """The longest value, dotted only where it fills its room, or whole beats of a compound meter."""
    whole_beats = meter.is_compound and start % beat_length(meter) == 0
    return next(
        (value for value in _VALUES if value[0] <= room and (not value[2] or value[0] == room or whole_beats)),
        (room, _VALUES[-1][1], 0),
    )


def _rests(start: Fraction, room: Fraction, meter: MeterSign) -> tuple[Fraction, int, int]:
    """The longest value that begins at a multiple of itself; in compound meters whole beats first."""
    beat = beat_length(meter)
    if meter.is_compound:
        dotted = next(value for value in _VALUES if value[0] == beat and value[2])
        if start % beat == 0 and room >= beat:
            return dotted
        start, room = start % beat, min(room, beat - start % beat)
    longest = beat if meter.is_compound or meter.beats_per_bar % 2 else bar_quarters(meter)
    return next(
        (value for value in _VALUES if not value[2] and value[0] <= min(room, longest) and start % value[0] == 0),
        (room, _VALUES[-1][1], 0),
    )


def _triplet_quarter(at: Fraction) -> int | None:
    """The quarter that is written as a triplet around a place which is no sixteenth."""
    return int(at) if at * 3 % 1 == 0 and at % 1 else None


def _beamed(values: list[Value], beat: Fraction) -> tuple[Value, ...]:
    """Neighbours shorter than a quarter within one beat share a beam; a rest between them ends it."""
    groups: list[list[int]] = []
    for index, value in enumerate(values):
        if value.is_rest or value.part < 8:
            continue
        joins = groups and groups[-1][-1] == index - 1 and values[index - 1].start // beat == value.start // beat
        if joins and values[index - 1].triplet == value.triplet:
            groups[-1].append(index)
        else:
            groups.append([index])
    numbers = {index: number for number, group in enumerate(groups) if len(group) > 1 for index in group}
    return tuple(replace(value, beam=numbers.get(index)) for index, value in enumerate(values))
