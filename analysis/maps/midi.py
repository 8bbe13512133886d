"""Standard MIDI Files: the tempo map and the section markers written, and a client's file read.

Set Tempo holds whole microseconds per quarter note (SMF 1.1, `FF 51 03`), so it is the one place where the tempo is
rounded; the map itself stays exact. A felt beat of a dotted quarter at 72 is a quarter tempo of 108. A free passage has
the tempo that brings the next bar to its place, between a marker "free" and a marker "in time" (words of our own).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any, Generic, TypeVar

import mido

from analysis.core.texts import as_utf8, clean_text
from analysis.maps.tempo_map import MeterSign, Segment, TempoMap, TempoMapError, round_half_up

# SMF 1.0 asks for printable ASCII in text events and allows other characters; it names no encoding. ASCII names are the
# same bytes in UTF-8, and most programs of today read that (common practice, from memory).
_CHARSET = "utf-8"
# Divides by every note value up to the 32nd and by three (house choice).
_TICKS_PER_QUARTER = 480
_MICROSECONDS_PER_MINUTE = 60_000_000
_SLOWEST_US, _FASTEST_US = 0xFFFFFF, 1  # SMF 1.1: three bytes
_DEFAULT_US = 500_000  # SMF 1.1: 120 BPM until a Set Tempo says otherwise
_BAR_ONE_MARKER = "bar one"
_FREE_MARKER, _IN_TIME_MARKER = "free", "in time"
# What a file of a song stays far below (house choices).
_MAX_BYTES = 4 * 2**20
_MAX_EVENTS = 20_000
_MAX_BARS = 10_000
# Exact sums over thousands of tempos would be of thousands of digits: from here on to the picosecond (house choice).
_PER_SECOND = 10**12

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


@lru_cache(maxsize=1_024)
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
        events.append((_quarters(tempo_map, marker.bar, lead_bars), 3, mido.MetaMessage("marker", text=marker.text)))
    end = _quarters(tempo_map, bars + 1, lead_bars)
    _save(path, events, end)


def _free_markers(tempo_map: TempoMap) -> Iterator[Marker]:
    for stretch in tempo_map.free_stretches:
        yield Marker(max(1, stretch.bar), _FREE_MARKER)
        if stretch.end_bar is not None:
            yield Marker(stretch.end_bar, _IN_TIME_MARKER)


def _save(path: Path, events: list[tuple[Fraction, int, mido.MetaMessage]], end: Fraction) -> None:
    file = mido.MidiFile(type=1, ticks_per_beat=_TICKS_PER_QUARTER, charset=_CHARSET)
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
    if path.stat().st_size > _MAX_BYTES:
        raise MidiError("is larger than the MIDI file of any song")
    try:
        file = mido.MidiFile(path, clip=True)
        events = _meta_events(file)
    except MidiError:
        raise
    except Exception as error:  # mido raises whatever the bytes lead it into
        raise MidiError(f"cannot be read as a MIDI file: {clean_text(str(error))}") from error
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


class _Changes(Generic[_T]):
    """Values and the quarter positions from which they hold, in order; the first is 0."""

    def __init__(self, changes: Iterable[tuple[Fraction, _T]], *, default: _T) -> None:
        listed = list(changes)
        if not listed or listed[0][0] != 0:
            listed.insert(0, (Fraction(0), default))
        self.starts = [at for at, _ in listed]
        self.values = [value for _, value in listed]

    def index_at(self, place: Fraction) -> int:
        return bisect_right(self.starts, place) - 1

    def at(self, place: Fraction) -> _T:
        return self.values[self.index_at(place)]

    def any_inside(self, start: Fraction, end: Fraction) -> bool:
        return bisect_right(self.starts, start) < bisect_left(self.starts, end)


class _Clock:
    """Seconds from the start of the file to any quarter position."""

    def __init__(self, tempos: _Changes[int]) -> None:
        self._tempos = tempos
        self._seconds = [Fraction(0)]
        for start, end, us in zip(tempos.starts, tempos.starts[1:], tempos.values, strict=False):
            self._seconds.append(_bounded(self._seconds[-1] + (end - start) * _seconds_per_quarter(us)))

    def seconds_at(self, place: Fraction) -> Fraction:
        index = self._tempos.index_at(place)
        since = place - self._tempos.starts[index]
        return self._seconds[index] + since * _seconds_per_quarter(self._tempos.values[index])


def _seconds_per_quarter(microseconds: int) -> Fraction:
    return 60 / quarters_per_minute(microseconds)


def _bounded(seconds: Fraction) -> Fraction:
    if seconds.denominator <= _PER_SECOND:
        return seconds
    return Fraction(round_half_up(seconds * _PER_SECOND), _PER_SECOND)


def _facts(events: list[tuple[int, Any]], ticks_per_quarter: int) -> MidiFacts:
    tempos = _read(events, "set_tempo", ticks_per_quarter, lambda message: message.tempo)
    if any(us < _FASTEST_US for _, us in tempos):
        raise MidiError("states a tempo of 0 microseconds per quarter note, which is none")
    meters = _read(events, "time_signature", ticks_per_quarter, lambda m: MeterSign(m.numerator, m.denominator))
    marks = _read(events, "marker", ticks_per_quarter, lambda message: clean_text(as_utf8(message.text)))
    last = max([Fraction(0), *(at for at, _ in (*tempos, *meters, *marks))])
    bars = _bars(_Changes(meters, default=MeterSign(4, 4)), last)
    starts = [at for at, _ in bars]
    one = next((at for at, text in marks if text.lower() == _BAR_ONE_MARKER), Fraction(0))
    number_of_one = bisect_right(starts, one) - 1
    segments = _segments(bars, _Changes(tempos, default=_DEFAULT_US), _free_from(marks), number_of_one)
    markers = tuple(Marker(bisect_right(starts, at) - number_of_one, text) for at, text in marks)
    return MidiFacts(TempoMap(segments), markers, bool(tempos), bool(meters))


def _read(
    events: Iterable[tuple[int, Any]], kind: str, ticks: int, read: Callable[[Any], _T]
) -> list[tuple[Fraction, _T]]:
    return [(Fraction(tick, ticks), read(message)) for tick, message in events if message.type == kind]


def _bars(meters: _Changes[MeterSign], last: Fraction) -> list[tuple[Fraction, MeterSign]]:
    """Quarter position and meter of every bar up to one past the last event."""
    bars: list[tuple[Fraction, MeterSign]] = []
    at = Fraction(0)
    while at <= last:
        meter = meters.at(at)
        bars.append((at, meter))
        at += meter.beats_per_bar * meter.quarters_per_beat
        if len(bars) > _MAX_BARS:
            raise MidiError("runs over too many bars")
    return [*bars, (at, bars[-1][1])]


def _free_from(marks: list[tuple[Fraction, str]]) -> _Changes[bool]:
    """Where the song goes free (True) and where it is in time again, as `write_midi` marks it."""
    words = [(at, text.lower()) for at, text in marks]
    changes = [(at, word == _FREE_MARKER) for at, word in words if word in (_FREE_MARKER, _IN_TIME_MARKER)]
    return _Changes(changes, default=False)


def _segments(
    bars: list[tuple[Fraction, MeterSign]], tempos: _Changes[int], frees: _Changes[bool], one: int
) -> tuple[Segment, ...]:
    """One segment wherever tempo or meter changes or a free passage begins or ends; a bar with a change inside gets
    the tempo that spans it."""
    segments: list[Segment] = []
    written, clock = _Clock(tempos), Fraction(0)
    ends = [at for at, _ in bars[1:]] + [bars[-1][0] + 4]
    for index, ((at, meter), end) in enumerate(zip(bars, ends, strict=True)):
        bpm = quarters_per_minute(tempos.at(at)) / meter.quarters_per_beat
        if tempos.any_inside(at, end):
            bpm = meter.beats_per_bar * 60 / (written.seconds_at(end) - written.seconds_at(at))
        free = frees.at(at)
        if not segments or (segments[-1].bpm, segments[-1].meter, segments[-1].free) != (bpm, meter, free):
            segments.append(Segment(index - one + 1, clock, bpm, meter, free))
        clock = _bounded(clock + meter.beats_per_bar * 60 / bpm)
    return tuple(segments)
