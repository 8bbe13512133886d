"""Words, signs and bar lines of a MusicXML measure. What people read is said to programs too (`<sound>`).

Tested by tests/analysis/engraving/test_musicxml.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any
from xml.etree import ElementTree as ET

from analysis.chart.beats import from_bar_line
from analysis.chart.document import FEELS, SEGNO, Bar, Chart, Jump, Section, Tempo
from analysis.engraving.road_words import fill_words, jump_words
from analysis.engraving.tempo_mark import beat_note, bpm_text
from analysis.maps.tempo_map import MeterSign

_DIVISIONS = 24
_UNITS = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
_IN_WORDS = ("cresc.", "dim.")


def tree(parent: ET.Element, *branches: tuple[Any, ...]) -> None:
    """Add elements: a name, then in any order a text, attributes (dict) and children (tuples)."""
    for name, *parts in branches:
        made = ET.SubElement(parent, name)
        for part in parts:
            if isinstance(part, dict):
                made.attrib.update(part)
            elif isinstance(part, tuple):
                tree(made, part)
            else:
                made.text = part


def directions(chart: Chart, bars: Sequence[Bar], number: int, section: Section | None) -> Iterator[ET.Element]:
    bar = bars[number - 1]
    if section and section.letter:
        yield _direction(("rehearsal", section.letter, {"enclosure": "square"}))
    if section and section.name:
        yield _direction(("words", section.name, {"font-weight": "bold"}))
    if number == 1:
        yield from _opening(chart, bar.meter)
    if bar.tempo:
        yield _tempo(bar.tempo, bar.meter)
    if bar.road.segno:
        yield _direction(("segno",), sound={"segno": "segno"})
    if bar.road.coda:
        yield _direction(("coda",), sound={"coda": "coda"})
    yield from _over_beats(bar)
    yield from _at_end(bar)


def _direction(
    *kinds: tuple[Any, ...], offset: Fraction = Fraction(0), sound: dict[str, str] | None = None, below: bool = False
) -> ET.Element:
    made = ET.Element("direction", {"placement": "below" if below else "above"})
    for kind in kinds:
        tree(made, ("direction-type", kind))
    if offset:
        tree(made, ("offset", str(int(offset * _DIVISIONS))))
    if sound:
        tree(made, ("sound", sound))
    return made


def _opening(chart: Chart, meter: MeterSign) -> Iterator[ET.Element]:
    if chart.tempo:
        made = _tempo(chart.tempo, meter)
        if chart.feel in FEELS[1:]:
            kind = "eighth" if chart.feel == FEELS[1] else "16th"
            swing = ("swing", ("first", "2"), ("second", "1"), ("swing-type", kind))
            for sound in made.iter("sound"):
                tree(sound, swing)
        yield made
    feel = chart.feel if chart.feel != FEELS[0] else ""
    words = ", ".join(text for text in (feel, chart.words) if text)
    if words:
        yield _direction(("words", words))


def _tempo(tempo: Tempo, meter: MeterSign) -> ET.Element:
    """Printed by the beat that is felt; `<sound tempo>` counts quarters (MusicXML 4.0, element sound)."""
    part, dotted = beat_note(meter)
    dots = (("beat-unit-dot",),) if dotted else ()
    mark = ("metronome", ("beat-unit", _UNITS[part]), *dots, ("per-minute", bpm_text(tempo.bpm)))
    quarters = tempo.bpm * meter.quarters_per_beat
    return _direction(mark, sound={"tempo": bpm_text(quarters)})


def _over_beats(bar: Bar) -> Iterator[ET.Element]:
    for stop in bar.stops:
        yield _direction(("words", "stop", {"font-style": "italic"}), offset=from_bar_line(stop.beat, bar.meter))
    for fill in bar.fills:
        italic = ("words", fill_words(fill, bar), {"font-style": "italic"})
        yield _direction(italic, offset=from_bar_line(fill.beat, bar.meter))
    for words in bar.words:
        text = f"“{words.text}”" if words.cue else words.text
        if words.text:
            yield _direction(("words", text), offset=from_bar_line(words.beat, bar.meter))
    for dynamic in bar.dynamics:
        sign = ("words", dynamic.level) if dynamic.level in _IN_WORDS else ("dynamics", (dynamic.level,))
        yield _direction(sign, offset=from_bar_line(dynamic.beat, bar.meter), below=True)


def _at_end(bar: Bar) -> Iterator[ET.Element]:
    end = from_bar_line(Fraction(bar.meter.upper + 1), bar.meter)
    road = bar.road
    if road.to_coda:
        yield _direction(("words", "To Coda"), offset=end, sound={"tocoda": "coda"})
    if road.fine:
        yield _direction(("words", "Fine"), offset=end, sound={"fine": "yes"})
    if road.jump:
        yield _direction(("words", jump_words(road.jump)), offset=end, sound=_jump_sound(road.jump))


def _jump_sound(jump: Jump) -> dict[str, str]:
    return {"dalsegno": "segno"} if jump.to == SEGNO else {"dacapo": "yes"}


def left_bar_line(bars: Sequence[Bar], number: int) -> Iterator[ET.Element]:
    road = bars[number - 1].road
    begins = bool(road.ending) and (number == 1 or _ends_bracket(bars, number - 1))
    if not (road.repeat_start or begins):
        return
    made = ET.Element("barline", {"location": "left"})
    if road.repeat_start:
        tree(made, ("bar-style", "heavy-light"))
    if begins:
        tree(made, ("ending", _passes(road.ending), {"number": _numbers(road.ending), "type": "start"}))
    if road.repeat_start:
        tree(made, ("repeat", {"direction": "forward"}))
    yield made


def _ends_bracket(bars: Sequence[Bar], number: int) -> bool:
    """Whether a bracket over a bar ends with it."""
    road = bars[number - 1].road
    return number == len(bars) or bool(road.repeat_end) or bars[number].road.ending != road.ending


def right_bar_line(bars: Sequence[Bar], number: int, *, ends_section: bool) -> Iterator[ET.Element]:
    road = bars[number - 1].road
    final = number == len(bars) or road.fine
    ends = bool(road.ending) and _ends_bracket(bars, number)
    if not (road.repeat_end or final or ends_section or ends or road.jump):
        return
    made = ET.Element("barline", {"location": "right"})
    if road.repeat_end or final:
        tree(made, ("bar-style", "light-heavy"))
    elif ends_section or road.jump:
        tree(made, ("bar-style", "light-light"))
    if ends:
        kind = "stop" if road.repeat_end else "discontinue"
        tree(made, ("ending", {"number": _numbers(road.ending), "type": kind}))
    if road.repeat_end:
        tree(made, ("repeat", {"direction": "backward", "times": str(road.repeat_end)}))
    yield made


def _numbers(ending: tuple[int, ...]) -> str:
    return ", ".join(str(number) for number in ending)


def _passes(ending: tuple[int, ...]) -> str:
    return ", ".join(f"{number}." for number in ending)
