"""The chart as a document: what a person reads before the first take, as data.

A chart has sections, a section has bars, and every written bar is one `Bar`; what a page prints in one sign (a rest of
twelve bars) is twelve bars here. Bars are counted as written, from 1 through the whole chart; which of the song's bars
each one is played as, `roadmap.py` says. Beats are 1-based in the meter's written unit (`beats.py`).

JSON (`Chart.to_json`, read strictly by `reading.read_chart`): an object with `"chart": 1` and the fields below under
their own names; a field with its default is left out. Meters are texts ("6/8"), beats and lengths as in `beats.py`.

    {"chart": 1, "title": "Wet Stairs Beside Kettle", "tempo": {"bpm": "112"}, "meter": "4/4",
     "sections": [{"letter": "A", "name": "Verse", "decided": ["name"], "bars": [
        {"shows": "slashes", "hits": [{"beat": 4.5, "length": 0.5}], "dynamics": [{"level": "mf"}]},
        {"shows": "rest"}, ...]}]}

What a person decided is named in `decided`, at the chart, at a section and at a bar, each with words of their own
(`CHART_ASPECTS`, `SECTION_ASPECTS`, `BAR_ASPECTS`). A decided aspect is never changed by a later draft, not even where
it is empty: a hit that was taken out stays out. What made the road of a chart (`"road"` at a bar) decides where its
sections lie as well.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from analysis.chart.beats import beat_json
from analysis.maps.tempo_map import MeterSign

FORMAT = 1  # raised when a key changes its meaning

SLASHES, REPEAT_1, REPEAT_2, REST, RHYTHM, DRUMS = "slashes", "repeat-1", "repeat-2", "rest", "rhythm", "drums"
SHOWS = (SLASHES, REPEAT_1, REPEAT_2, REST, RHYTHM, DRUMS)
FEELS = ("straight", "swung eighths", "swung sixteenths")
LEVELS = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "fp", "sfz", "cresc.", "dim.")
# Drum voices, as trade practice places them; `engraving/percussion.py` says where and with which head.
VOICES = (
    "kick", "snare", "side stick", "floor tom", "low tom", "high tom", "ride", "hat", "open hat", "hat foot", "crash",
)  # fmt: skip
MARKS = ("", "ghost", "flam", "roll")
SEGNO, START = "segno", "start"
CODA, FINE, END = "coda", "fine", "end"

CHART_ASPECTS = ("title", "artist", "tempo", "feel", "words", "count_in")
SECTION_ASPECTS = ("place", "letter", "name")
BAR_ASPECTS = ("meter", "content", "hits", "stops", "fills", "dynamics", "words", "tempo", "road")


@dataclass(frozen=True)
class Tempo:
    """Beats per minute of the beat that is felt in the meter (the dotted quarter in 6/8)."""

    bpm: Fraction


@dataclass(frozen=True)
class Note:
    """One note of a written bar. In `rhythm` bars voice is empty and `length` is the note's; in `drums` bars each
    note has a voice and lasts until the next one."""

    beat: Fraction
    length: Fraction = Fraction(1)
    voice: str = ""
    accent: bool = False
    mark: str = ""


@dataclass(frozen=True)
class Hit:
    """A figure that the band plays together, written small above the staff. Its length may cross the bar line."""

    beat: Fraction
    length: Fraction = Fraction(1, 2)
    accent: bool = False


@dataclass(frozen=True)
class Span:
    """Beats of a bar: where everybody stops, or where the fill is."""

    beat: Fraction
    beats: Fraction


@dataclass(frozen=True)
class Dynamic:
    level: str
    beat: Fraction = Fraction(1)


@dataclass(frozen=True)
class Words:
    """Words above the staff; a cue (what somebody sings or plays there) is printed in quotes."""

    text: str
    beat: Fraction = Fraction(1)
    cue: bool = False


@dataclass(frozen=True)
class Jump:
    """At the end of a bar: back `to` the segno or the start, then on `until` the coda (from To Coda on), the Fine or
    the end. Repeats are not taken again unless `repeats` says so."""

    to: str = SEGNO
    until: str = END
    repeats: bool = False


@dataclass(frozen=True)
class Road:
    """What leads through the chart at one bar. `repeat_end` is how often the passage is played in all; `ending` names
    the passes of the bracket over the bar; `segno`, `coda` and `repeat_start` stand at its beginning, `to_coda`,
    `jump`, `fine` and `repeat_end` at its end."""

    repeat_start: bool = False
    repeat_end: int = 0
    ending: tuple[int, ...] = ()
    segno: bool = False
    coda: bool = False
    to_coda: bool = False
    jump: Jump | None = None
    fine: bool = False


NO_ROAD, COMMON_TIME = Road(), MeterSign(4, 4)


@dataclass(frozen=True)
class Bar:
    """One written bar. `repeat-1` repeats the bar before it, a pair of `repeat-2` the two bars before them. `held` is
    the beat of a fermata."""

    meter: MeterSign
    shows: str = SLASHES
    notes: tuple[Note, ...] = ()
    hits: tuple[Hit, ...] = ()
    stops: tuple[Span, ...] = ()
    fills: tuple[Span, ...] = ()
    dynamics: tuple[Dynamic, ...] = ()
    words: tuple[Words, ...] = ()
    held: Fraction | None = None
    tempo: Tempo | None = None
    road: Road = NO_ROAD
    decided: tuple[str, ...] = ()


@dataclass(frozen=True)
class Section:
    letter: str
    bars: tuple[Bar, ...]
    name: str = ""
    decided: tuple[str, ...] = ()


@dataclass(frozen=True)
class Chart:
    """`first_bar` is the number that the song gives the first bar played: 1, or 0 where the chart begins with a
    pick-up. `words` describe the feel ("brushes"); `count_in` is in bars."""

    title: str
    sections: tuple[Section, ...]
    meter: MeterSign = COMMON_TIME
    artist: str = ""
    tempo: Tempo | None = None
    feel: str = FEELS[0]
    words: str = ""
    count_in: int = 0
    first_bar: int = 1
    decided: tuple[str, ...] = ()

    @property
    def bars(self) -> tuple[Bar, ...]:
        """As written, through all sections."""
        return tuple(bar for section in self.sections for bar in section.bars)

    def printed(self, number: int) -> int:
        """The number that is printed at a written bar: a pick-up has 0, so that bar one of the song is bar 1."""
        return number + min(self.first_bar, 1) - 1

    def numbered(self) -> Iterator[tuple[int, Section, Bar]]:
        """Every written bar with its number, counted from 1, and its section."""
        number = 0
        for section in self.sections:
            for bar in section.bars:
                number += 1
                yield number, section, bar

    def to_json(self) -> dict[str, Any]:
        return {"chart": FORMAT, **_plain(self, default_meter=self.meter), "meter": str(self.meter)}


def _plain(item: Any, *, default_meter: MeterSign) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for field in dataclasses.fields(item):
        value = getattr(item, field.name)
        if value == field.default or (field.name == "meter" and value == default_meter):
            continue
        found[field.name] = _value(value, name=field.name, default_meter=default_meter)
    return found


def _value(value: Any, *, name: str, default_meter: MeterSign) -> Any:
    if isinstance(value, MeterSign):
        return str(value)
    if dataclasses.is_dataclass(value):
        return _plain(value, default_meter=default_meter)
    if isinstance(value, Fraction):
        return str(value) if name == "bpm" else beat_json(value)
    if isinstance(value, tuple):
        return [_value(item, name=name, default_meter=default_meter) for item in value]
    return value
