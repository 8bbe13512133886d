"""A chart in MusicXML 4.0 (W3C Music Notation Community Group), for any notation program.

Bars of slashes are a `<slash>` stretch with slash-headed notes in it, so that a reader which knows no slash stretch
shows them too; repeated bars hold what they repeat. Every note is `<unpitched>`. Written bars are measures: a rest of
twelve bars is twelve measures with a `<multiple-rest>` on the first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from analysis.chart.document import REPEAT_1, REPEAT_2, REST, SLASHES, Bar, Chart, Section
from analysis.engraving.layers import Layer, layers_of
from analysis.engraving.line_mei import voices_of
from analysis.engraving.lines import Cell, lines_of
from analysis.engraving.musicxml_notes import DIVISIONS, layer_notes, whole_rest
from analysis.engraving.musicxml_signs import directions, left_bar_line, right_bar_line, tree
from analysis.engraving.percussion import PLACES

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_DRUM_CHANNEL = 10  # General MIDI


def musicxml_text(chart: Chart) -> str:
    """The same chart gives the same text."""
    root = ET.Element("score-partwise", {"version": "4.0"})
    tree(root, ("work", ("work-title", chart.title)))
    tree(root, ("movement-title", chart.title))
    creator = (("creator", chart.artist, {"type": "artist"}),) if chart.artist else ()
    tree(root, ("identification", *creator, ("encoding", ("software", "Kitpost"))))
    root.append(_part_list(chart))
    part = ET.SubElement(root, "part", {"id": "P1"})
    part.extend(_measures(chart))
    ET.indent(root, " ")
    return _HEAD + ET.tostring(root, encoding="unicode") + "\n"


def _part_list(chart: Chart) -> ET.Element:
    made = ET.Element("part-list")
    part = ET.SubElement(made, "score-part", {"id": "P1"})
    tree(part, ("part-name", "Drums"))
    voices = voices_of(chart.bars)
    for voice in voices:
        instrument = ET.SubElement(part, "score-instrument", {"id": instrument_id(voice)})
        tree(instrument, ("instrument-name", voice.capitalize()))
    for voice in voices:
        midi = ET.SubElement(part, "midi-instrument", {"id": instrument_id(voice)})
        # MusicXML counts from 1 what General MIDI counts from 0.
        tree(midi, ("midi-channel", str(_DRUM_CHANNEL)), ("midi-unpitched", str(PLACES[voice].midi + 1)))
    return made


def instrument_id(voice: str) -> str:
    return f"P1-{voice.replace(' ', '-')}"


def _measures(chart: Chart) -> Iterator[ET.Element]:
    bars = chart.bars
    layers = layers_of(bars)
    rests = {cell.number: cell for line in lines_of(chart) for cell in line.cells if len(cell.bars) > 1}
    starts: dict[int, Section] = {}
    number = 1
    for section in chart.sections:
        starts[number] = section
        number += len(section.bars)
    for number in range(1, len(bars) + 1):
        printed = chart.printed(number)
        measure = ET.Element("measure", {"number": str(printed)})
        if printed < 1:
            measure.set("implicit", "yes")
        measure.extend(left_bar_line(bars, number))
        attributes = _attributes(bars, number, rests.get(number))
        if len(attributes):
            measure.append(attributes)
        measure.extend(directions(chart, bars, number, starts.get(number)))
        measure.extend(_content(bars, layers, number))
        measure.extend(right_bar_line(bars, number, ends_section=number + 1 in starts))
        yield measure


def _attributes(bars: Sequence[Bar], number: int, rest: Cell | None) -> ET.Element:
    made = ET.Element("attributes")
    bar = bars[number - 1]
    first = number == 1
    if first:
        tree(made, ("divisions", str(DIVISIONS)))
    if first or bars[number - 2].meter != bar.meter:
        tree(made, ("time", ("beats", str(bar.meter.upper)), ("beat-type", str(bar.meter.lower))))
    if first:
        tree(made, ("clef", ("sign", "percussion")))
    for style in _styles(bars, number):
        tree(made, ("measure-style", style))
    if rest:
        tree(made, ("measure-style", ("multiple-rest", str(len(rest.bars)))))
    return made


def _styles(bars: Sequence[Bar], number: int) -> Iterator[tuple[str, str, dict[str, str]] | tuple[str, dict[str, str]]]:
    """Where stretches of slashes and repeated bars begin and end. A bar that shows rests or hits is in none."""
    now = _stretch(bars[number - 1])
    before = _stretch(bars[number - 2]) if number > 1 else ""
    if before != now and before:
        yield ("slash", {"type": "stop"}) if before == SLASHES else ("measure-repeat", "", {"type": "stop"})
    if before != now and now == SLASHES:
        yield ("slash", {"type": "start", "use-stems": "no"})
    if before != now and now in (REPEAT_1, REPEAT_2):
        yield ("measure-repeat", "1" if now == REPEAT_1 else "2", {"type": "start"})


def _stretch(bar: Bar) -> str:
    if bar.shows == SLASHES:
        return "" if bar.stops or bar.hits else SLASHES
    return bar.shows if bar.shows in (REPEAT_1, REPEAT_2) else ""


def _content(bars: Sequence[Bar], layers: Sequence[tuple[Layer, ...]], number: int) -> Iterator[ET.Element]:
    source = _repeated(bars, number)
    bar = bars[source - 1]
    own = [layer for layer in layers[number - 1] if source == number or layer.kind == "hits"]
    copied = [layer for layer in layers[source - 1] if source != number and layer.kind != "hits"]
    shown = [*copied, *own]
    held = bars[number - 1].held
    if bar.shows == REST or not any(layer.kind != "hits" for layer in shown) or bar.meter != bars[number - 1].meter:
        yield whole_rest(bars[number - 1].meter, held=held is not None)
        shown, held = [layer for layer in own if layer.kind == "hits"], None
        if shown:
            yield from layer_notes(bars[number - 1], shown, held=None, after_whole_bar=True)
        return
    yield from layer_notes(bars[number - 1], shown, held=held)


def _repeated(bars: Sequence[Bar], number: int) -> int:
    """The bar whose content a bar plays: itself, or what its repeat sign points back to."""
    while number >= 1:
        shows = bars[number - 1].shows
        if shows not in (REPEAT_1, REPEAT_2):
            return number
        back = 1 if shows == REPEAT_1 else 2
        if number - back < 1:
            return number
        number -= back
    return number
