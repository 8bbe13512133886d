"""What stands in each bar, spelled: the layers that every way of writing a chart draws from.

A bar of slashes has one slash for each felt beat, and rests where everybody stops; written drums have hands and feet;
the band's hits are a layer of their own above the staff. What sounds over a bar line goes on in the next written bar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from analysis.chart.beats import bar_quarters, felt_beat_units, from_bar_line, quarters_per_unit
from analysis.chart.document import DRUMS, REST, RHYTHM, SLASHES, Bar, Hit, Note, Span
from analysis.engraving.note_values import Onset, Value, beat_length, spelled
from analysis.engraving.percussion import PLACES
from analysis.maps.tempo_map import MeterSign

SLASH_LAYER, RHYTHM_LAYER, HANDS, FEET, HITS = "slashes", "rhythm", "hands", "feet", "hits"


@dataclass(frozen=True)
class Slash:
    """A slash; without a stem when it fills its beat."""

    stem: bool


@dataclass(frozen=True)
class Layer:
    """`what` of a value is a Slash, a Note, a chord (tuple of Note) or a Hit, by the kind of layer."""

    kind: str
    values: tuple[Value, ...]

    @property
    def ties_over(self) -> bool:
        return bool(self.values) and self.values[-1].tied


def layers_of(bars: Sequence[Bar]) -> list[tuple[Layer, ...]]:
    """The layers of each bar; empty for a bar that is one sign (a rest, a repeat) and has no hits."""
    found: list[tuple[Layer, ...]] = []
    over: dict[str, Onset] = {}
    for bar, after in zip(bars, [*bars[1:], None], strict=True):
        layers = []
        for kind, onsets in _onsets(bar, over):
            values = spelled(onsets, bar.meter)
            if kind == SLASH_LAYER:
                values = tuple(replace(value, beam=None) for value in values)
            goes_on = after is not None and (kind == HITS or after.shows == RHYTHM)
            layers.append(Layer(kind, values if goes_on else _ended(values)))
        over = {layer.kind: _rest_of(layer, bar) for layer in layers if layer.ties_over}
        found.append(tuple(layer for layer in layers if layer.values))
    return found


def _onsets(bar: Bar, over: dict[str, Onset]) -> Iterator[tuple[str, list[Onset]]]:
    if bar.shows == SLASHES:
        yield SLASH_LAYER, list(_slashes(bar))
    if bar.shows == RHYTHM:
        yield RHYTHM_LAYER, _sounding([_onset(note, bar.meter, note.length) for note in bar.notes], over, RHYTHM_LAYER)
    if bar.shows == DRUMS:
        yield from _drums(bar)
    hits = _sounding([_onset(hit, bar.meter, hit.length) for hit in bar.hits], over, HITS)
    if hits:
        yield HITS, hits


def _onset(one: Note | Hit, meter: MeterSign, length: Fraction) -> Onset:
    return Onset(from_bar_line(one.beat, meter), length * quarters_per_unit(meter), one)


def _sounding(onsets: list[Onset], over: dict[str, Onset], kind: str) -> list[Onset]:
    """One onset at each place, after what sounds over from the bar before, if anything begins later."""
    by_place = {onset.start: onset for onset in onsets}
    if kind in over and Fraction(0) not in by_place:
        by_place[Fraction(0)] = over[kind]
    return [by_place[start] for start in sorted(by_place)]


def _rest_of(layer: Layer, bar: Bar) -> Onset:
    """What of a layer's last note lies beyond its bar."""
    what = layer.values[-1].what
    begun = next((value.start for value in layer.values if value.what is what and value.first), Fraction(0))
    length = what.length * quarters_per_unit(bar.meter) - (bar_quarters(bar.meter) - begun)
    return Onset(Fraction(0), length, replace(what, length=length / quarters_per_unit(bar.meter)), continued=True)


def _ended(values: tuple[Value, ...]) -> tuple[Value, ...]:
    return (*values[:-1], replace(values[-1], tied=False)) if values else values


def _slashes(bar: Bar) -> Iterator[Onset]:
    """A slash for each felt beat; of a beat that a stop takes a part of, the rest as a stemmed slash."""
    beat = felt_beat_units(bar.meter) * quarters_per_unit(bar.meter)
    stops = [_edges(stop, bar.meter) for stop in bar.stops]
    at = Fraction(0)
    whole = bar_quarters(bar.meter)
    while at < whole:
        end = min(at + beat, whole)
        for start, length in _open(at, end, stops):
            yield Onset(start, length, Slash(stem=(start, length) != (at, beat)))
        at = end


def _edges(stop: Span, meter: MeterSign) -> tuple[Fraction, Fraction]:
    start = from_bar_line(stop.beat, meter)
    return start, start + stop.beats * quarters_per_unit(meter)


def _open(
    start: Fraction, end: Fraction, stops: Sequence[tuple[Fraction, Fraction]]
) -> list[tuple[Fraction, Fraction]]:
    """What of a beat no stop covers, as starts and lengths."""
    spans = [(start, end)]
    for stop_start, stop_end in stops:
        pieces = [(one, min(two, stop_start)) for one, two in spans] + [(max(one, stop_end), two) for one, two in spans]
        spans = sorted({(one, two) for one, two in pieces if one < two})
    return [(one, two - one) for one, two in spans]


def _drums(bar: Bar) -> Iterator[tuple[str, list[Onset]]]:
    """Hands and feet. A stroke lasts to the next one, a beat at most, so that every beat can be seen."""
    for kind, feet in ((HANDS, False), (FEET, True)):
        notes = sorted((note for note in bar.notes if PLACES[note.voice].feet is feet), key=lambda note: note.beat)
        chords = [(beat, tuple(_sorted_voices(group))) for beat, group in groupby(notes, key=lambda note: note.beat)]
        if not chords:
            continue
        onsets = []
        for beat, chord in chords:
            start = from_bar_line(beat, bar.meter)
            group = min(beat_length(bar.meter), Fraction(3, 2))
            onsets.append(Onset(start, group - start % group, chord))
        yield kind, onsets


def _sorted_voices(notes: Iterator[Note]) -> list[Note]:
    """From the bottom up, each voice once."""
    by_voice = {note.voice: note for note in notes}
    return sorted(by_voice.values(), key=lambda note: (PLACES[note.voice].loc, note.voice))


def is_silent(bar: Bar) -> bool:
    """A bar of rest with nothing to read in it: it may be printed as one of several."""
    plain = not (bar.hits or bar.fills or bar.dynamics or bar.words or bar.held or bar.tempo)
    return bar.shows == REST and plain
