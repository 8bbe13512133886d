"""The notes of a MusicXML measure: layers as voices, one after the other with `<backup>` between them.

Tested by tests/analysis/engraving/test_musicxml.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from xml.etree import ElementTree as ET

from analysis.chart.beats import bar_quarters, from_bar_line
from analysis.chart.document import Bar, Note
from analysis.engraving.layers import FEET, HANDS, HITS, RHYTHM_LAYER, SLASH_LAYER, Layer, Slash
from analysis.engraving.musicxml_signs import tree
from analysis.engraving.note_values import Value
from analysis.engraving.percussion import PLACES
from analysis.maps.tempo_map import MeterSign

DIVISIONS = 24  # of a quarter: sixteenths, triplets and thirty-seconds are whole
_TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
_VOICES = {SLASH_LAYER: "1", RHYTHM_LAYER: "1", HANDS: "1", FEET: "2", HITS: "3"}
# Places as in a treble clef: the space above the first ledger line, and the middle line.
_ABOVE_STAFF, _MIDDLE_LINE = ("B", "5"), ("B", "4")


def whole_rest(meter: MeterSign, *, held: bool = False) -> ET.Element:
    note = ET.Element("note")
    tree(note, ("rest", {"measure": "yes"}), ("duration", _duration(bar_quarters(meter))), ("voice", "1"))
    if held:
        tree(note, ("notations", ("fermata", {})))
    return note


def layer_notes(
    bar: Bar, layers: Sequence[Layer], *, held: Fraction | None, after_whole_bar: bool = False
) -> Iterator[ET.Element]:
    """`held` is the beat of a fermata: it goes to what begins there, or last before it, in the first layer."""
    again = after_whole_bar
    for index, layer in enumerate(layers):
        if again:
            backup = ET.Element("backup")
            tree(backup, ("duration", _duration(bar_quarters(bar.meter))))
            yield backup
        again = True
        place = None if held is None or index else from_bar_line(held, bar.meter)
        begun = [value.start for value in layer.values if place is not None and value.start <= place]
        for number, value in enumerate(layer.values):
            yield from _value(layer, number, fermata=bool(begun) and value.start == begun[-1])


def _duration(quarters: Fraction) -> str:
    return str(int(quarters * DIVISIONS))


def _value(layer: Layer, number: int, *, fermata: bool) -> Iterator[ET.Element]:
    value = layer.values[number]
    if value.is_rest and layer.kind == HITS and value.part <= 4 and value.triplet is None:
        forward = ET.Element("forward")
        tree(forward, ("duration", _duration(value.length)), ("voice", _VOICES[HITS]))
        yield forward
    elif layer.kind in (HANDS, FEET) and not value.is_rest:
        yield from _chord(layer, number, fermata=fermata)
    else:
        yield _single(layer, number, fermata=fermata)


def _single(layer: Layer, number: int, *, fermata: bool) -> ET.Element:
    """A rest, a slash, a note of a rhythm or of the band's hits."""
    value = layer.values[number]
    note = ET.Element("note")
    if layer.kind == HITS:
        tree(note, ("cue", {}))
    if value.is_rest:
        tree(note, ("rest", {}))
    else:
        step, octave = _ABOVE_STAFF if layer.kind == HITS else _MIDDLE_LINE
        tree(note, ("unpitched", ("display-step", step), ("display-octave", octave)))
    _timing(note, layer, number)
    if not value.is_rest:
        stemless = isinstance(value.what, Slash) and not value.what.stem
        tree(note, ("stem", "none" if stemless else "up"))
        if layer.kind != HITS:
            tree(note, ("notehead", "slash"))
        _beam(note, layer, number)
    accent = value.first and getattr(value.what, "accent", False)
    _notations(note, layer, number, accent=accent, fermata=fermata)
    return note


def _chord(layer: Layer, number: int, *, fermata: bool) -> Iterator[ET.Element]:
    chord: tuple[Note, ...] = layer.values[number].what
    yield from (_flam(one, layer) for one in chord if one.mark == "flam")
    for index, one in enumerate(chord):
        place = PLACES[one.voice]
        note = ET.Element("note")
        if index:
            tree(note, ("chord", {}))
        tree(note, ("unpitched", ("display-step", place.step), ("display-octave", str(place.octave))))
        _timing(note, layer, number, voice=one.voice)
        tree(note, ("stem", "down" if place.feet else "up"))
        if place.head != "normal" or one.mark == "ghost":
            tree(note, ("notehead", place.head, {"parentheses": "yes"} if one.mark == "ghost" else {}))
        if not index:
            _beam(note, layer, number)
        top = index == len(chord) - 1
        signs = {"accent": one.accent, "roll": one.mark == "roll" and top, "opened": place.sign == "open"}
        _notations(note, layer, number, fermata=fermata and top, chord_member=index > 0, **signs)
        yield note


def _flam(one: Note, layer: Layer) -> ET.Element:
    place = PLACES[one.voice]
    note = ET.Element("note")
    tree(note, ("grace", {"slash": "yes"}))
    tree(note, ("unpitched", ("display-step", place.step), ("display-octave", str(place.octave))))
    tree(note, ("instrument", {"id": f"P1-{one.voice.replace(' ', '-')}"}), ("voice", _VOICES[layer.kind]))
    tree(note, ("type", "eighth"), ("stem", "down" if place.feet else "up"))
    return note


def _timing(note: ET.Element, layer: Layer, number: int, voice: str = "") -> None:
    """Duration, ties, instrument, voice, value: in the schema's order."""
    value = layer.values[number]
    tree(note, ("duration", _duration(value.length)))
    if layer.kind != HITS:  # a cue does not sound, so it has no tie
        tree(note, *((("tie", {"type": kind})) for kind in _ties(layer, number)))
    if voice:
        tree(note, ("instrument", {"id": f"P1-{voice.replace(' ', '-')}"}))
    tree(note, ("voice", _VOICES[layer.kind]))
    tree(note, ("type", _TYPES[value.part], {"size": "cue"} if layer.kind == HITS else {}))
    tree(note, *(("dot", {}) for _ in range(value.dots)))
    if value.triplet is not None:
        tree(note, ("time-modification", ("actual-notes", "3"), ("normal-notes", "2"), ("normal-type", "eighth")))


def _ties(layer: Layer, number: int) -> list[str]:
    value = layer.values[number]
    if value.is_rest:
        return []
    return [*(["stop"] if not value.first else []), *(["start"] if value.tied else [])]


def _beam(note: ET.Element, layer: Layer, number: int) -> None:
    """First beam from neighbour to neighbour; the second between sixteenths, with hooks where one stands alone."""
    value = layer.values[number]
    if value.beam is None:
        return
    before, after = _neighbour(layer, number - 1, value), _neighbour(layer, number + 1, value)
    tree(note, ("beam", _joint(before is not None, after is not None), {"number": "1"}))
    if value.part >= 16:
        joins = [one is not None and one.part >= 16 for one in (before, after)]
        hook = "backward hook" if before is not None else "forward hook"
        tree(note, ("beam", _joint(*joins) if any(joins) else hook, {"number": "2"}))


def _neighbour(layer: Layer, number: int, value: Value) -> Value | None:
    if not 0 <= number < len(layer.values):
        return None
    other = layer.values[number]
    return other if other.beam == value.beam else None


def _joint(before: bool, after: bool) -> str:  # noqa: FBT001 - two of a kind
    if before and after:
        return "continue"
    return "end" if before else "begin"


def _notations(
    note: ET.Element,
    layer: Layer,
    number: int,
    *,
    accent: bool = False,
    fermata: bool = False,
    roll: bool = False,
    opened: bool = False,
    chord_member: bool = False,
) -> None:
    made = ET.Element("notations")
    tree(made, *(("tied", {"type": kind}) for kind in _ties(layer, number)))
    if not chord_member:
        tree(made, *(("tuplet", {"type": kind}) for kind in _tuplet(layer, number)))
    if roll:
        tree(made, ("ornaments", ("tremolo", "3", {"type": "single"})))
    if opened:
        tree(made, ("technical", ("open", {})))
    if accent:
        tree(made, ("articulations", ("accent", {})))
    if fermata:
        tree(made, ("fermata", {}))
    if len(made):
        note.append(made)


def _tuplet(layer: Layer, number: int) -> Iterator[str]:
    """Where a triplet begins and ends."""
    value = layer.values[number]
    if value.triplet is None:
        return
    if number == 0 or layer.values[number - 1].triplet != value.triplet:
        yield "start"
    if number + 1 == len(layer.values) or layer.values[number + 1].triplet != value.triplet:
        yield "stop"
