"""Standard MIDI Files: the tempo map and the section markers written, and a client's file read.

Set Tempo holds whole microseconds per quarter note (SMF 1.1, `FF 51 03`), so it is the one place where the tempo is
rounded; the map itself stays exact. A felt beat of a dotted quarter at 72 is a quarter tempo of 108. A free passage has
the tempo that brings the next bar to its place, between a marker "free" and a marker "in time" (words of our own).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import mido

from analysis.maps.tempo_map import MeterSign, Segment, TempoMap, TempoMapError, round_half_up

# Divides by every note value up to the 32nd and by three (house choice).
_TICKS_PER_QUARTER = 480
_MICROSECONDS_PER_MINUTE = 60_000_000
_SLOWEST_US, _FASTEST_US = 0xFFFFFF, 1  # SMF 1.1: three bytes
_DEFAULT_US = 500_000  # SMF 1.1: 120 BPM until a Set Tempo says otherwise
_BAR_ONE_MARKER = "bar one"
_FREE_MARKER, _IN_TIME_MARKER = "free", "in time"
# What a file of a song stays far below (house choices).
_MAX_EVENTS = 200_000
_MAX_BARS = 10_000

_T = TypeVar("_T")


class MidiError(ValueError):
    """The file is not a Standard MIDI File that a tempo map can be read from."""


@dataclass(frozen=True)
class Marker:
    bar: int
    text: str


@dataclass(frozen=True)
class MidiFacts:
    """What a client's MIDI file says: its tempo map (bar one where a marker says so, else at the start) and markers."""

    tempo_map: TempoMap
    markers: tuple[Marker, ...]
    states_tempo: bool
    states_meter: bool


def microseconds_per_quarter(bpm: Fraction, quarters_per_beat: Fraction) -> int:
    """Rounded, not cut off: truncation doubles the drift."""
    return min(_SLOWEST_US, max(_FASTEST_US, round_half_up(_MICROSECONDS_PER_MINUTE / (bpm * quarters_per_beat))))


def quarters_per_minute(microseconds: int) -> Fraction:
    """The tempo meant: the nearest thousandth of a BPM when that would be stored as this same number, else exact."""
    raw = Fraction(_MICROSECONDS_PER_MINUTE, microseconds)
    for digits in (0, 1, 2, 3):
        near = Fraction(round_half_up(raw * 10**digits), 10**digits)
        if near and abs(_MICROSECONDS_PER_MINUTE / near - microseconds) <= Fraction(1, 2):
            return near
    return raw


def write_midi(tempo_map: TempoMap, path: Path, *, bars: int, markers: Sequence[Marker] = ()) -> None:
    """Write tempo, meters and markers; tick 0 is the start of the song's files.

    When bar one lies later than that, whole bars lead up to it at the one tempo that makes them fit, so that the map
    lines up with the files in any program; a marker names bar one.
    """
    lead_bars, lead_us = _lead_in(tempo_map)
    first = tempo_map.segment_at_bar(1)
    events: list[tuple[Fraction, int, mido.MetaMessage]] = []
    if lead_bars:
        events += [(Fraction(0), 0, _time_signature(first.meter)), (Fraction(0), 1, _set_tempo(lead_us))]
        events.append((_quarters(tempo_map, 1, lead_bars), 2, mido.MetaMessage("marker", text=_BAR_ONE_MARKER)))
    for segment in tempo_map.segments:
        at = _quarters(tempo_map, max(1, segment.bar), lead_bars)
        microseconds = microseconds_per_quarter(segment.bpm, segment.meter.quarters_per_beat)
        events += [(at, 0, _time_signature(segment.meter)), (at, 1, _set_tempo(microseconds))]
    for marker in (*_free_markers(tempo_map), *markers):
        text = marker.text.encode("latin-1", "replace").decode("latin-1")
        events.append((_quarters(tempo_map, marker.bar, lead_bars), 3, mido.MetaMessage("marker", text=text)))
    end = _quarters(tempo_map, bars + 1, lead_bars)
    _save(path, events, end)


def _free_markers(tempo_map: TempoMap) -> Iterator[Marker]:
    for stretch in tempo_map.free_stretches:
        yield Marker(max(1, stretch.bar), _FREE_MARKER)
        if stretch.end_bar is not None:
            yield Marker(stretch.end_bar, _IN_TIME_MARKER)


def _save(path: Path, events: list[tuple[Fraction, int, mido.MetaMessage]], end: Fraction) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=_TICKS_PER_QUARTER)
    track = mido.MidiTrack()
    file.tracks.append(track)
    now = 0
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        tick = round_half_up(at * _TICKS_PER_QUARTER)
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, round_half_up(end * _TICKS_PER_QUARTER) - now)))
    file.save(path)


def _lead_in(tempo_map: TempoMap) -> tuple[int, int]:
    """How many bars fill the time before bar one, and their microseconds per quarter."""
    first = tempo_map.segment_at_bar(1)
    if tempo_map.bar_one_s <= 0:
        return 0, 0
    bars = max(1, round_half_up(tempo_map.bar_one_s / first.bar_s))
    quarters = bars * first.meter.beats_per_bar * first.meter.quarters_per_beat
    microseconds = round_half_up(tempo_map.bar_one_s * 1_000_000 / quarters)
    return bars, min(_SLOWEST_US, max(_FASTEST_US, microseconds))


def _quarters(tempo_map: TempoMap, bar: int, lead_bars: int) -> Fraction:
    """Quarter notes from tick 0 to the start of `bar`."""
    quarters = Fraction(0)
    at = 1 - lead_bars
    while at < bar:
        later = [segment.bar for segment in tempo_map.segments if segment.bar > at]
        until = min([bar, *later])
        meter = tempo_map.segment_at_bar(at).meter
        quarters += (until - at) * meter.beats_per_bar * meter.quarters_per_beat
        at = until
    return quarters


def _set_tempo(microseconds: int) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=microseconds)


def _time_signature(meter: MeterSign) -> mido.MetaMessage:
    clocks = meter.quarters_per_beat * 24
    return mido.MetaMessage(
        "time_signature",
        numerator=meter.upper,
        denominator=meter.lower,
        clocks_per_click=int(clocks),
        notated_32nd_notes_per_beat=8,
    )


def read_midi(path: Path) -> MidiFacts:
    """Read tempo, meters and markers of every track (format 1 keeps them in the first; not every program does)."""
    try:
        file = mido.MidiFile(path, clip=True)
        events = _meta_events(file)
    except MidiError:
        raise
    except Exception as error:  # mido raises whatever the bytes lead it into
        raise MidiError(f"cannot be read as a MIDI file: {error}") from error
    try:
        return _facts(events, file.ticks_per_beat)
    except TempoMapError as error:
        raise MidiError(str(error)) from error


def _meta_events(file: mido.MidiFile) -> list[tuple[int, Any]]:
    if file.type == 2:
        raise MidiError("holds several songs (format 2)")
    if not 0 < file.ticks_per_beat < 0x8000:
        raise MidiError("counts time in video frames, not in beats")
    events: list[tuple[int, Any]] = []
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.is_meta and message.type in ("set_tempo", "time_signature", "marker"):
                events.append((tick, message))
        if len(events) > _MAX_EVENTS:
            raise MidiError("holds too many tempo events")
    return sorted(events, key=lambda event: event[0])


def _facts(events: list[tuple[int, Any]], ticks_per_quarter: int) -> MidiFacts:
    tempos = _changes(events, "set_tempo", ticks_per_quarter, lambda message: message.tempo)
    meters = _changes(events, "time_signature", ticks_per_quarter, lambda m: MeterSign(m.numerator, m.denominator))
    marks = [(Fraction(tick, ticks_per_quarter), m.text) for tick, m in events if m.type == "marker"]
    last = max([Fraction(0), *(at for at, _ in (*tempos, *meters, *marks))])
    bars = _bars(_from_start(meters, MeterSign(4, 4)), last)
    one = next((at for at, text in marks if text.strip().lower() == _BAR_ONE_MARKER), Fraction(0))
    number_of_one = max(index for index, (at, _) in enumerate(bars) if at <= one)
    segments = _segments(bars, _from_start(tempos, _DEFAULT_US), _free_from(marks), number_of_one)
    markers = tuple(
        Marker(max(index for index, (start, _) in enumerate(bars) if start <= at) - number_of_one + 1, text)
        for at, text in marks
    )
    return MidiFacts(TempoMap(segments), markers, bool(tempos), bool(meters))


def _changes(
    events: Iterable[tuple[int, Any]], kind: str, ticks: int, read: Callable[[Any], _T]
) -> list[tuple[Fraction, _T]]:
    return [(Fraction(tick, ticks), read(message)) for tick, message in events if message.type == kind]


def _from_start(changes: list[tuple[Fraction, _T]], default: _T) -> list[tuple[Fraction, _T]]:
    return changes if changes and changes[0][0] == 0 else [(Fraction(0), default), *changes]


def _bars(meters: list[tuple[Fraction, MeterSign]], last: Fraction) -> list[tuple[Fraction, MeterSign]]:
    """Quarter position and meter of every bar up to one past the last event."""
    bars: list[tuple[Fraction, MeterSign]] = []
    at = Fraction(0)
    while at <= last:
        meter = next(sign for start, sign in reversed(meters) if start <= at)
        bars.append((at, meter))
        at += meter.beats_per_bar * meter.quarters_per_beat
        if len(bars) > _MAX_BARS:
            raise MidiError("runs over too many bars")
    return [*bars, (at, bars[-1][1])]


def _free_from(marks: list[tuple[Fraction, str]]) -> list[tuple[Fraction, bool]]:
    """Where the song goes free (True) and where it is in time again, as `write_midi` marks it."""
    words = [(at, text.strip().lower()) for at, text in marks]
    return [
        (Fraction(0), False),
        *((at, word == _FREE_MARKER) for at, word in words if word in (_FREE_MARKER, _IN_TIME_MARKER)),
    ]


def _segments(
    bars: list[tuple[Fraction, MeterSign]],
    tempos: list[tuple[Fraction, int]],
    frees: list[tuple[Fraction, bool]],
    one: int,
) -> tuple[Segment, ...]:
    """One segment wherever tempo or meter changes or a free passage begins or ends; a bar with a change inside gets
    the tempo that spans it."""
    segments: list[Segment] = []
    clock = Fraction(0)
    ends = [at for at, _ in bars[1:]] + [bars[-1][0] + 4]
    for index, ((at, meter), end) in enumerate(zip(bars, ends, strict=True)):
        inside = [us for start, us in tempos if at < start < end]
        us = next(value for start, value in reversed(tempos) if start <= at)
        length = _seconds(tempos, at, end)
        bpm = meter.beats_per_bar * 60 / length if inside else quarters_per_minute(us) / meter.quarters_per_beat
        free = next(value for start, value in reversed(frees) if start <= at)
        if not segments or (segments[-1].bpm, segments[-1].meter, segments[-1].free) != (bpm, meter, free):
            segments.append(Segment(index - one + 1, clock, bpm, meter, free))
        clock += meter.beats_per_bar * 60 / bpm
    return tuple(segments)


def _seconds(tempos: list[tuple[Fraction, int]], start: Fraction, end: Fraction) -> Fraction:
    total = Fraction(0)
    for (at, us), (until, _) in zip(tempos, [*tempos[1:], (end, 0)], strict=True):
        low, high = max(at, start), min(max(until, at), end)
        if high > low:
            total += (high - low) * _MICROSECONDS_PER_MINUTE / quarters_per_minute(us) / 1_000_000
    return total
