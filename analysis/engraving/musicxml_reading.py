"""A client's MusicXML 4.0 as the start of a chart: its road map. Sections from rehearsal marks, meters, repeats and
endings, D.S., D.C., coda and Fine, rests, repeated bars, tempi, dynamics, words. Notes become slashes; what was left
out is said.

The file is a stranger's: `sandbox/musicxml_child.py` reads it in a child. The parser declares no entities (defusedxml)
and opens nothing else; the size is bounded before anything is parsed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from analysis.chart.document import COMMON_TIME, REPEAT_1, REPEAT_2, REST, SLASHES, Bar, Chart, Section
from analysis.chart.reading import MOST_BARS, read_chart
from analysis.core.errors import ChartError
from analysis.core.texts import clean_text
from analysis.engraving.musicxml_marks import Marks, marks_of, road_of
from analysis.maps.tempo_map import MeterSign, TempoMapError

MOST_BYTES = 20_000_000  # an orchestra's score of half an hour stays below (house choice)
_DRUMS = ("drum", "perc", "kit")
_LEFT_OUT = {
    "lyric": "lyrics",
    "harmony": "chord symbols",
    "figured-bass": "figured bass",
    "octave-shift": "octave signs",
    "pedal": "pedal marks",
    "wedge": "hairpins",
    "fermata": "fermatas",
}


@dataclass(frozen=True)
class ReadChart:
    """`left_out`: what the file has and the chart has not, as words for people."""

    chart: Chart
    left_out: tuple[str, ...] = ()


@dataclass
class _Measure:
    """What all parts say at one measure; `shows` is of the part that is read for its bars."""

    marks: Marks = field(default_factory=Marks)
    meter: MeterSign | None = None
    shows: str = SLASHES


def read_musicxml(content: bytes) -> ReadChart:
    """Raises ChartError with a sentence for people."""
    root = _root(content)
    parts = root.findall("part")
    if not parts or not parts[0].findall("measure"):
        raise ChartError("the MusicXML has no part with measures in it")
    if max(len(part.findall("measure")) for part in parts) > MOST_BARS:
        raise ChartError(f"the MusicXML has more than {MOST_BARS} measures; a chart has no more")
    main = _main_part(root, parts)
    measures = _measures(parts, main)
    chart = _chart(root, measures, is_pickup=main.findall("measure")[0].get("implicit") == "yes")
    return ReadChart(read_chart(chart.to_json()), tuple(_left_out(root, parts)))


def _root(content: bytes) -> Element:
    if len(content) > MOST_BYTES:
        raise ChartError(f"the file has more than {MOST_BYTES // 1_000_000} MB; no score is as large")
    if content[:2] == b"PK":
        raise ChartError("this is compressed MusicXML (.mxl): export it as plain MusicXML (.musicxml or .xml)")
    try:
        root: Element = fromstring(content)
    except DefusedXmlException as error:
        raise ChartError("the XML declares entities, which no MusicXML needs: it is not read") from error
    except (ParseError, ValueError, LookupError) as error:
        raise ChartError("this is no XML that can be read") from error
    if root.tag == "score-timewise":
        raise ChartError("this MusicXML is written by time (score-timewise): export it by parts (score-partwise)")
    if root.tag != "score-partwise":
        raise ChartError(f"this is XML but no MusicXML: it begins with “{clean_text(str(root.tag))[:40]}”")
    return root


def _main_part(root: Element, parts: Sequence[Element]) -> Element:
    """The drums' where there is one, else the first."""
    names = {one.get("id"): (one.findtext("part-name") or "").lower() for one in root.iter("score-part")}
    for part in parts:
        is_percussion = any(sign.text == "percussion" for sign in part.iterfind("measure/attributes/clef/sign"))
        if is_percussion or any(word in names.get(part.get("id"), "") for word in _DRUMS):
            return part
    return parts[0]


def _measures(parts: Sequence[Element], main: Element) -> list[_Measure]:
    """Marks over the system often stand in the first part alone: each counts once, whichever part has it."""
    found = [_Measure() for _ in range(max(len(part.findall("measure")) for part in parts))]
    for part in [main, *(one for one in parts if one is not main)]:
        for at, element in enumerate(part.findall("measure")):
            found[at].marks = found[at].marks.joined(marks_of(element))
            found[at].meter = found[at].meter or _meter_of(element)
    for at, shows in enumerate(_shows(main.findall("measure"))):
        found[at].shows = shows
    return found


def _meter_of(measure: Element) -> MeterSign | None:
    time = measure.find("attributes/time")
    if time is None or time.find("senza-misura") is not None:
        return None
    try:
        upper = sum(int(beats) for beats in (time.findtext("beats") or "").split("+"))
        return MeterSign(upper, int(time.findtext("beat-type") or ""))
    except (ValueError, TempoMapError) as error:
        raise ChartError("the MusicXML has a meter that cannot be read") from error


def _shows(measures: Sequence[Element]) -> Iterator[str]:
    repeat, resting = "", 0
    for measure in measures:
        for style in measure.iterfind("attributes/measure-style"):
            sign = style.find("measure-repeat")
            if sign is not None:
                kinds = {"1": REPEAT_1, "2": REPEAT_2}
                repeat = kinds.get((sign.text or "").strip(), "") if sign.get("type") == "start" else ""
            resting = max(resting, _whole(style.findtext("multiple-rest")))
        is_rest = resting > 0 or _is_silent(measure)
        resting = max(0, resting - 1)
        yield repeat or (REST if is_rest else SLASHES)


def _is_silent(measure: Element) -> bool:
    notes = [note for note in measure.iterfind("note") if note.find("cue") is None]
    return bool(notes) and all(note.find("rest") is not None for note in notes)


def _whole(text: str | None) -> int:
    return min(int(text), MOST_BARS) if text and text.strip().isdecimal() else 0


def _chart(root: Element, measures: Sequence[_Measure], *, is_pickup: bool) -> Chart:
    first = next((one.meter for one in measures if one.meter), COMMON_TIME)
    meters, now = [], first
    for one in measures:
        now = one.meter or now
        meters.append(now)
    marks = [one.marks for one in measures]
    starts = {0, *(at for at in range(len(marks)) if _begins_section(marks, at))}
    rows = enumerate(zip(measures, meters, road_of(marks), strict=True))
    bars = [replace(_bar(one, meter, at, begins=at in starts), road=road) for at, (one, meter, road) in rows]
    meter = Counter(meters).most_common(1)[0][0]
    return Chart(
        _text(root, "movement-title") or _text(root, "work/work-title"),
        tuple(_sections(bars, marks, sorted(starts))),
        meter=meter,
        artist=_text(root, "identification/creator"),
        tempo=measures[0].marks.tempo_in(meters[0]),
        first_bar=0 if is_pickup else 1,
    )


def _bar(one: _Measure, meter: MeterSign, at: int, *, begins: bool) -> Bar:
    tempo = one.marks.tempo_in(meter) if at else None
    words = one.marks.chart_words(begins=begins)
    return Bar(meter, shows=one.shows, words=words, dynamics=one.marks.dynamics, tempo=tempo)


def _begins_section(marks: Sequence[Marks], at: int) -> bool:
    """At a rehearsal mark, or a name behind a double bar line."""
    return bool(marks[at].rehearsal) or bool(at and marks[at].name and marks[at - 1].closes)


def _sections(bars: Sequence[Bar], marks: Sequence[Marks], starts: Sequence[int]) -> Iterator[Section]:
    for start, end in zip(starts, [*starts[1:], len(bars)], strict=True):
        mark = marks[start].rehearsal
        # A letter, perhaps with a number, stands in the box; anything longer is a name (house choice).
        letter, name = (mark, marks[start].name) if len(mark) <= 3 else ("", mark)
        yield Section(letter, tuple(bars[start:end]), name)


def _text(root: Element, path: str) -> str:
    return clean_text(root.findtext(path) or "")[:200]


def _is_slash(note: Element) -> bool:
    """A slash of a bar of slashes; one with a stem is a note of a written rhythm."""
    return note.findtext("notehead") == "slash" and note.findtext("stem") == "none"


def _left_out(root: Element, parts: Sequence[Element]) -> Iterator[str]:
    notes = [note for note in root.iter("note") if note.find("rest") is None]
    cues = sum(1 for note in notes if note.find("cue") is not None)
    written = sum(1 for note in notes if note.find("cue") is None and not _is_slash(note))
    if written:
        yield f"{written} written notes (bars with notes are slashes)"
    if cues:
        yield f"{cues} cue notes (the band’s hits)"
    if len(parts) > 1:
        yield f"{len(parts) - 1} other parts"
    for name, words in _LEFT_OUT.items():
        if next(root.iter(name), None) is not None:
            yield words
