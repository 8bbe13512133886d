"""A chart in MEI 5 (Music Encoding Initiative), the form that the engraver reads and that can be handed out.

`measure` writes one bar's staff; `score_of` the whole chart with its words and signs. Every sounding element has an id
that says its bar and place (`event_id`), so that what was engraved can be found again.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from xml.etree import ElementTree as ET

from analysis.chart.document import DRUMS, REPEAT_1, REPEAT_2, REST, Bar, Note
from analysis.engraving.layers import FEET, HANDS, HITS, RHYTHM_LAYER, SLASH_LAYER, Layer, Slash
from analysis.engraving.note_values import Value
from analysis.engraving.percussion import MIDDLE_LOC, PLACES
from analysis.maps.tempo_map import MeterSign

NAMESPACE = "http://www.music-encoding.org/ns/mei"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
# Hits lie above the staff (house choice, in lines and spaces from its bottom line).
_HITS_LOC = 11
_STAFF, _HITS_STAFF = "1", "2"
_ROLL = "3slash"


def event_id(bar: int, layer: str, start: Fraction) -> str:
    return f"e-{bar}-{layer}-{start.numerator}-{start.denominator}"


def bar_id(bar: int) -> str:
    return f"bar-{bar}"


def element(name: str, *children: ET.Element, **attributes: str) -> ET.Element:
    """`dur_ges` writes the attribute `dur.ges`, `id` is xml:id."""
    made = ET.Element(name, {_attribute(key): value for key, value in attributes.items()})
    made.extend(children)
    return made


def _attribute(key: str) -> str:
    return _ID if key == "id" else key.replace("_", ".")


def scaffold(score: ET.Element, title: str, artist: str = "") -> ET.Element:
    """The document around a score."""
    heading = element("title")
    heading.text = title
    statement = element("titleStmt", heading)
    if artist:
        name = element("persName", role="performer")
        name.text = artist
        statement.append(element("respStmt", name))
    head = element("meiHead", element("fileDesc", statement, element("pubStmt")))
    music = element("music", element("body", element("mdiv", score)))
    mei = element("mei", head, music, meiversion="5.0")
    mei.set("xmlns", NAMESPACE)
    return mei


def score_def(meter: MeterSign, *, shows_meter: bool, apart: bool = False) -> ET.Element:
    """`apart`: hits have a staff of their own, without lines, over the other."""
    attributes = {"meter_count": str(meter.upper), "meter_unit": str(meter.lower)}
    if not shows_meter:
        attributes["meter_visible"] = "false"
    group = element("staffGrp", bar_thru="false")
    if apart:
        group.append(element("staffDef", n=_HITS_STAFF, lines="0", clef_shape="perc", clef_visible="false"))
    group.append(element("staffDef", n=_STAFF, lines="5", clef_shape="perc"))
    return element("scoreDef", group, **attributes)


def hits_apart(bars: Iterable[tuple[Bar, Sequence[Layer]]]) -> bool:
    """Whether hits need a staff of their own: over written drums, whose stems would run into them."""
    return any(bar.shows == DRUMS and layer.kind == HITS for bar, layers in bars for layer in layers)


def measure(
    number: int, bar: Bar, layers: Sequence[Layer], *, right: str = "single", apart: bool = False
) -> ET.Element:
    """One bar. Repeat signs are of the bar itself; `right` is the bar line where it has none."""
    made = _with_bar_lines(element("measure", n=str(number), id=bar_id(number)), bar, bar, right)
    signs = _sign_layer(bar)
    below = [layer for layer in layers if not (apart and layer.kind == HITS)]
    written = [*([signs] if signs is not None else []), *(_layer(number, bar, layer) for layer in below)]
    if apart:
        made.append(_staff_of_hits([_layer(number, bar, layer) for layer in layers if layer not in below]))
    staff = element("staff", n=_STAFF)
    made.append(staff)
    for place, layer in enumerate(written, 1):
        layer.set("n", str(place))
        staff.append(layer)
    made.extend(_ties(number, layers))
    return made


def _staff_of_hits(layers: Sequence[ET.Element]) -> ET.Element:
    """On a staff without lines there is one place."""
    layer = layers[0] if layers else element("layer", element("mSpace"))
    layer.set("n", "1")
    for one in layer.iter():
        if one.get("loc"):
            one.set("loc", "0")
    return element("staff", layer, n=_HITS_STAFF)


def multi_rest(number: int, bars: Sequence[Bar], *, right: str = "single", apart: bool = False) -> ET.Element:
    """Bars of rest in one sign."""
    layer = element("layer", element("multiRest", num=str(len(bars))), n="1")
    made = element("measure", n=str(number), id=bar_id(number))
    if apart:
        made.append(_staff_of_hits([]))
    made.append(element("staff", layer, n=_STAFF))
    return _with_bar_lines(made, bars[0], bars[-1], right)


def _with_bar_lines(made: ET.Element, first: Bar, last: Bar, right: str) -> ET.Element:
    if first.road.repeat_start:
        made.set("left", "rptstart")
    made.set("right", "rptend" if last.road.repeat_end else right)
    return made


def _sign_layer(bar: Bar) -> ET.Element | None:
    """What fills a bar as one sign. That for two bars lies on the bar line between them: its bars are left empty."""
    signs = {
        REST: lambda: element("mRest"),
        REPEAT_1: lambda: element("mRpt", num_visible="false"),
        REPEAT_2: lambda: element("mSpace"),
    }
    return element("layer", signs[bar.shows]()) if bar.shows in signs else None


def _layer(number: int, bar: Bar, layer: Layer) -> ET.Element:
    made = element("layer")
    for _, group in itertools.groupby(layer.values, key=lambda value: value.triplet):
        values = list(group)
        parent = made
        if values[0].triplet is not None:
            parent = element("tuplet", num="3", numbase="2")
            made.append(parent)
        for beam, members in itertools.groupby(values, key=lambda value: value.beam):
            home = parent
            if beam is not None:
                home = element("beam")
                parent.append(home)
            for value in members:
                home.extend(_event(number, bar, layer, value))
    return made


def _event(number: int, bar: Bar, layer: Layer, value: Value) -> Iterator[ET.Element]:
    attributes = {"dur": str(value.part), "id": event_id(number, layer.kind, value.start)}
    if value.dots:
        attributes["dots"] = str(value.dots)
    if value.what is None:
        yield _rest(layer, value, attributes)
        return
    writers = {SLASH_LAYER: _slash, RHYTHM_LAYER: _rhythm, HITS: _hit, HANDS: _chord, FEET: _chord}
    yield from writers[layer.kind](bar, value, attributes)


def _rest(layer: Layer, value: Value, attributes: dict[str, str]) -> ET.Element:
    """Rests of the hits are shown within beats that hold one; a whole beat without is left open."""
    if layer.kind == HITS:
        open_beat = value.part <= 4 and value.triplet is None
        place = {} if open_beat else {"loc": str(_HITS_LOC), "cue": "true"}
        return element("space" if open_beat else "rest", **attributes, **place)
    loc = {HANDS: MIDDLE_LOC + 2, FEET: MIDDLE_LOC - 6}.get(layer.kind, MIDDLE_LOC)
    return element("rest", **attributes, loc=str(loc))


def _slash(_: Bar, value: Value, attributes: dict[str, str]) -> Iterator[ET.Element]:
    what: Slash = value.what
    stem = {"stem_dir": "up"} if what.stem else {"stem_visible": "false"}
    yield element("note", loc=str(MIDDLE_LOC), head_shape="slash", **stem, **attributes)


def _rhythm(_: Bar, value: Value, attributes: dict[str, str]) -> Iterator[ET.Element]:
    note = element("note", loc=str(MIDDLE_LOC), head_shape="slash", stem_dir="up", **attributes)
    yield _accented(note, accent=value.what.accent and value.first)


def _hit(_: Bar, value: Value, attributes: dict[str, str]) -> Iterator[ET.Element]:
    note = element("note", loc=str(_HITS_LOC), cue="true", stem_dir="up", **attributes)
    yield _accented(note, accent=value.what.accent and value.first)


def _accented(note: ET.Element, *, accent: bool) -> ET.Element:
    if accent:
        note.append(element("artic", artic="acc", place="above"))
    return note


def _chord(bar: Bar, value: Value, attributes: dict[str, str]) -> Iterator[ET.Element]:
    del bar
    notes: tuple[Note, ...] = value.what
    feet = PLACES[notes[0].voice].feet
    direction = "down" if feet else "up"
    for note in notes:
        if note.mark == "flam":
            loc = str(PLACES[note.voice].loc)
            yield element("note", dur="8", grace="acc", stem_mod="1slash", stem_dir=direction, loc=loc)
    chord = element("chord", *(_head(note) for note in notes), stem_dir=direction, **attributes)
    if any(note.mark == "roll" for note in notes):
        chord.set("stem.mod", _ROLL)
    if any(PLACES[note.voice].sign == "open" for note in notes):
        chord.append(element("artic", artic="open", place="above"))
    yield _accented(chord, accent=any(note.accent for note in notes))


def _head(note: Note) -> ET.Element:
    place = PLACES[note.voice]
    made = element("note", loc=str(place.loc))
    if place.head != "normal":
        made.set("head.shape", place.head)
    if note.mark == "ghost":
        made.set("head.mod", "paren")
    return made


def _ties(number: int, layers: Sequence[Layer]) -> Iterator[ET.Element]:
    for layer in layers:
        for value, after in itertools.pairwise(layer.values):
            if value.tied:
                ends = [event_id(number, layer.kind, one.start) for one in (value, after)]
                yield element("tie", startid=f"#{ends[0]}", endid=f"#{ends[1]}", curvedir="below")


def text_of(tree: ET.Element) -> str:
    """The same tree gives the same text."""
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(tree, encoding="unicode") + "\n"
