"""Reading a chart's JSON, strictly: whatever is not a chart is refused by a sentence that names the place.

Texts are cleaned on the way in (`core/texts.py`). What a person may leave unfinished for a while (a D.S. without its
segno) is no fault of the document; `checks.py` names it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NoReturn, TypeVar

from analysis.chart import document
from analysis.chart.beats import from_bar_line, is_in_bar, is_on_grid, mixed_beats, quarters_per_unit, takes_triplet
from analysis.chart.document import Bar, Chart, Dynamic, Hit, Jump, Note, Road, Section, Span, Tempo, Words
from analysis.core.errors import ChartError
from analysis.core.texts import clean_text
from analysis.maps.tempo_map import MeterSign, TempoMapError

# What the chart of any song stays far below (house choices).
MOST_BARS, MOST_SECTIONS, MOST_IN_BAR, MOST_TEXT = 2_000, 500, 64, 200
MOST_PASSES = 32
_SLOWEST_BPM, _FASTEST_BPM = 1, 1000

# No exponents: a short text with one can be a number of a million digits. No zero below the line.
_NUMBER = re.compile(r"-?[0-9]{1,7}(\.[0-9]{1,20}|/[1-9][0-9]{0,5})?", re.ASCII)

_T = TypeVar("_T")
_Reader = Callable[[Any, str], Any]


def read_chart(data: Any) -> Chart:
    """Raises ChartError with a sentence for people."""
    if not isinstance(data, dict):
        raise ChartError("a chart is a JSON object")
    if data.get("chart") != document.FORMAT:
        raise ChartError(f"not a chart of format {document.FORMAT}: “chart” is {data.get('chart')!r:.40}")
    meter = _meter(data.get("meter", "4/4"), "meter")
    fields = {name: value for name, value in data.items() if name != "chart"}
    readers = _CHART | {"sections": _many(_section(meter), "section", most=MOST_SECTIONS)}
    chart: Chart = _object(Chart, readers, needs=("title", "sections"))(fields, "the chart")
    if not chart.bars:
        raise ChartError("the chart has no bars")
    if len(chart.bars) > MOST_BARS:
        raise ChartError(f"the chart has {len(chart.bars)} bars; a chart has {MOST_BARS} at most")
    return chart


def _fail(place: str, what: str) -> NoReturn:
    raise ChartError(f"{place}: {what}")


def _object(kind: Callable[..., _T], readers: Mapping[str, _Reader], needs: tuple[str, ...] = ()) -> _Reader:
    def read(value: Any, place: str) -> _T:
        if not isinstance(value, dict):
            _fail(place, "must be a JSON object")
        for name in value:
            if name not in readers:
                _fail(place, f"has no field {clean_text(str(name))[:40]!r}")
        for name in needs:
            if name not in value:
                _fail(place, f"needs “{name}”")
        return kind(**{name: readers[name](item, f"{place}, {name}") for name, item in value.items()})

    return read


def _many(reader: _Reader, one: str, *, most: int = MOST_IN_BAR) -> _Reader:
    def read(value: Any, place: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            _fail(place, "must be a list")
        if len(value) > most:
            _fail(place, f"has {len(value)} entries; {most} are the most")
        inside = place.rpartition(", ")[0] or place
        return tuple(reader(item, f"{inside}, {one} {number}") for number, item in enumerate(value, 1))

    return read


def _one_of(words: tuple[str, ...]) -> _Reader:
    def read(value: Any, place: str) -> str:
        if not isinstance(value, str) or value not in words:
            known = ", ".join(f"“{word}”" for word in words if word)
            _fail(place, f"is {clean_text(str(value))[:40]!r}; it must be one of {known}")
        return value

    return read


def _text(value: Any, place: str) -> str:
    if not isinstance(value, str):
        _fail(place, "must be a text")
    if len(value) > MOST_TEXT:
        _fail(place, f"has {len(value)} characters; {MOST_TEXT} are the most")
    return clean_text(value)


def _flag(value: Any, place: str) -> bool:
    if not isinstance(value, bool):
        _fail(place, "must be true or false")
    return value


def _whole(least: int, most: int) -> _Reader:
    def read(value: Any, place: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            _fail(place, f"must be a whole number from {least} to {most}")
        return value

    return read


def _number(value: Any, place: str) -> Fraction:
    """JSON's numbers and texts like "7/3"."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        _fail(place, "must be a number, or a fraction as a text")
    if not _NUMBER.fullmatch(str(value)):
        _fail(place, f"is no number: {clean_text(str(value))[:40]!r}")
    return Fraction(str(value))


def _length(value: Any, place: str) -> Fraction:
    length = _number(value, place)
    if not 0 < length <= 128:
        _fail(place, "must be more than 0 and at most 128 beats")
    return length


def _bpm(value: Any, place: str) -> Fraction:
    bpm = _number(value, place)
    if not _SLOWEST_BPM <= bpm <= _FASTEST_BPM:
        _fail(place, f"must be from {_SLOWEST_BPM} to {_FASTEST_BPM}")
    return bpm


def _meter(value: Any, place: str) -> MeterSign:
    if not isinstance(value, str) or len(value) > 8:
        _fail(place, "must be a meter such as “4/4”")
    try:
        return MeterSign.parse(value)
    except TempoMapError as error:
        _fail(place, str(error))


def _passes(value: Any, place: str) -> tuple[int, ...]:
    passes: tuple[int, ...] = _many(_whole(1, MOST_PASSES), "pass", most=MOST_PASSES)(value, place)
    return tuple(sorted(set(passes)))


def _repeats(value: Any, place: str) -> int:
    times: int = _whole(2, MOST_PASSES)(value, place)
    return times


def _maybe(reader: _Reader) -> _Reader:
    return lambda value, place: None if value is None else reader(value, place)


def _aspects(words: tuple[str, ...]) -> _Reader:
    return lambda value, place: tuple(
        word for word in words if word in _many(_one_of(words), "aspect", most=len(words))(value, place)
    )


_TEMPO = _object(Tempo, {"bpm": _bpm}, needs=("bpm",))
_NOTE = _object(
    Note,
    {
        "beat": _number,
        "length": _length,
        "voice": _one_of(("", *document.VOICES)),
        "accent": _flag,
        "mark": _one_of(document.MARKS),
    },
    needs=("beat",),
)
_HIT = _object(Hit, {"beat": _number, "length": _length, "accent": _flag}, needs=("beat",))
_SPAN = _object(Span, {"beat": _number, "beats": _length}, needs=("beat", "beats"))
_DYNAMIC = _object(Dynamic, {"level": _one_of(document.LEVELS), "beat": _number}, needs=("level",))
_WORDS = _object(Words, {"text": _text, "beat": _number, "cue": _flag}, needs=("text",))
_JUMP = _object(
    Jump,
    {
        "to": _one_of((document.SEGNO, document.START)),
        "until": _one_of((document.CODA, document.FINE, document.END)),
        "repeats": _flag,
    },
)
_ROAD = _object(
    Road,
    {
        "repeat_start": _flag,
        "repeat_end": _repeats,
        "ending": _passes,
        "segno": _flag,
        "coda": _flag,
        "to_coda": _flag,
        "jump": _maybe(_JUMP),
        "fine": _flag,
    },
)
_BAR: dict[str, _Reader] = {
    "meter": _meter,
    "shows": _one_of(document.SHOWS),
    "notes": _many(_NOTE, "note"),
    "hits": _many(_HIT, "hit"),
    "stops": _many(_SPAN, "stop"),
    "fills": _many(_SPAN, "fill"),
    "dynamics": _many(_DYNAMIC, "dynamic"),
    "words": _many(_WORDS, "words"),
    "held": _maybe(_number),
    "tempo": _maybe(_TEMPO),
    "road": _ROAD,
    "decided": _aspects(document.BAR_ASPECTS),
}
_CHART: dict[str, _Reader] = {
    "title": _text,
    "artist": _text,
    "meter": _meter,
    "tempo": _maybe(_TEMPO),
    "feel": _one_of(document.FEELS),
    "words": _text,
    "count_in": _whole(0, 8),
    "first_bar": _whole(-MOST_BARS, MOST_BARS),
    "decided": _aspects(document.CHART_ASPECTS),
}


def _section(meter: MeterSign) -> _Reader:
    read = _object(
        Section,
        {
            "letter": _text,
            "name": _text,
            "bars": _many(_bar(meter), "bar", most=MOST_BARS),
            "decided": _aspects(document.SECTION_ASPECTS),
        },
        needs=("letter", "bars"),
    )

    def read_filled(value: Any, place: str) -> Section:
        section: Section = read(value, place)
        return section if section.bars else _fail(place, "has no bars")

    return read_filled


def _bar(meter: MeterSign) -> _Reader:
    read = _object(Bar, _BAR)

    def read_placed(value: Any, place: str) -> Bar:
        bar: Bar = read({"meter": str(meter), **value} if isinstance(value, dict) else value, place)
        _check_places(bar, place)
        return bar

    return read_placed


def _check_places(bar: Bar, place: str) -> None:
    """Every beat lies in its bar, notes and hits on the grid, and voices where they belong."""
    beats = [("note", note.beat) for note in bar.notes] + [("hit", hit.beat) for hit in bar.hits]
    spans = [("stop", stop.beat) for stop in bar.stops] + [("fill", fill.beat) for fill in bar.fills]
    loose = [("dynamic", one.beat) for one in bar.dynamics] + [("words", one.beat) for one in bar.words]
    held = [("held note", bar.held)] if bar.held is not None else []
    for what, beat in (*beats, *spans, *loose, *held):
        if not is_in_bar(beat, bar.meter):
            _fail(place, f"the {what} at beat {beat} lies outside a bar of {bar.meter}")
    for what, beat in (*beats, *spans):
        at = from_bar_line(beat, bar.meter)
        if (at * 4).denominator != 1 and is_on_grid(at) and not takes_triplet(at, bar.meter):
            _fail(
                place, f"the {what} at beat {beat} would be a triplet, which a bar of {bar.meter} has no room for there"
            )
        if not is_on_grid(at):
            _fail(place, f"the {what} at beat {beat} is neither on a sixteenth nor on a triplet eighth")
    _check_notes(bar, place)


def _check_notes(bar: Bar, place: str) -> None:
    lengths = [note.length for note in bar.notes if bar.shows == document.RHYTHM] + [hit.length for hit in bar.hits]
    if not all(is_on_grid(length * quarters_per_unit(bar.meter)) for length in lengths):
        _fail(place, "a length is neither in sixteenths nor in triplet eighths")
    for kind in (bar.notes, bar.hits):
        mixed = mixed_beats(from_bar_line(one.beat, bar.meter) for one in kind)
        if mixed:
            _fail(place, f"sixteenths and triplets lie in one quarter (quarter {mixed[0] + 1} of the bar)")
    if bar.shows == document.DRUMS and not all(note.voice for note in bar.notes):
        _fail(place, "a note of written drums needs a voice")
    if bar.shows == document.RHYTHM and any(note.voice for note in bar.notes):
        _fail(place, "a note of a rhythm has no voice")
    if bar.notes and bar.shows not in (document.RHYTHM, document.DRUMS):
        _fail(place, f"a bar that shows {bar.shows} has no notes")
