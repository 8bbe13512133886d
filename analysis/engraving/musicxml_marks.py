"""What stands over one MusicXML measure: rehearsal mark, words, dynamics, tempo, and the signs of the road.

Tested by tests/analysis/engraving/test_musicxml_reading.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from analysis.chart.document import CODA, END, FINE, LEVELS, NO_ROAD, SEGNO, START, Dynamic, Jump, Road, Tempo, Words
from analysis.core.texts import clean_text
from analysis.maps.tempo_map import MeterSign

_JUMP = re.compile(
    r"\b(?P<to>d\.?\s?s\.?|d\.?\s?c\.?|dal segno|da capo)(?:\s+al\s+(?P<until>coda|fine|segno))?", re.IGNORECASE
)
_TO_CODA = re.compile(r"^\s*(?:to|al|alla)\s+coda\b", re.IGNORECASE)
_FINE = re.compile(r"^\s*fine\b", re.IGNORECASE)
_WITH_REPEATS = re.compile(r"with repeats|con rep", re.IGNORECASE)
_TIMES = re.compile(r"^\s*[x×]\s*\d+\s*$", re.IGNORECASE)
# Attributes of `<sound>` (MusicXML 4.0).
_SAID = ("dalsegno", "dacapo", "tocoda", "fine", "segno", "coda")
_PASSES = re.compile(r"\d{1,2}")
_SLOWEST_BPM, _FASTEST_BPM = 10, 500
_MOST_TEXT, _MOST_TIMES, _MOST_WORDS = 200, 32, 16


@dataclass(frozen=True)
class Marks:
    """`quarters_bpm` as `<sound tempo>` has it. `ending` are the passes of a bracket that begins here; `ends_bracket`:
    one ends with this measure; `closes`: so does what a double or final bar line closes."""

    rehearsal: str = ""
    name: str = ""
    words: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()
    quarters_bpm: Fraction | None = None
    road: Road = NO_ROAD
    ends_bracket: bool = False
    closes: bool = False

    def joined(self, other: Marks) -> Marks:
        """What another part has at the same measure; what both have is one."""
        flags = ("repeat_start", "segno", "coda", "to_coda", "fine")
        road = replace(
            self.road,
            repeat_end=max(self.road.repeat_end, other.road.repeat_end),
            ending=self.road.ending or other.road.ending,
            jump=self.road.jump or other.road.jump,
            **{name: getattr(self.road, name) or getattr(other.road, name) for name in flags},
        )
        return Marks(
            self.rehearsal or other.rehearsal,
            self.name or other.name,
            tuple(dict.fromkeys((*self.words, *other.words)))[:_MOST_WORDS],
            self.levels or other.levels,
            self.quarters_bpm or other.quarters_bpm,
            road,
            self.ends_bracket or other.ends_bracket,
            self.closes or other.closes,
        )

    def tempo_in(self, meter: MeterSign) -> Tempo | None:
        """By the beat that is felt."""
        if self.quarters_bpm is None:
            return None
        bpm = self.quarters_bpm / meter.quarters_per_beat
        return Tempo(bpm) if _SLOWEST_BPM <= bpm <= _FASTEST_BPM else None

    def chart_words(self, *, begins: bool) -> tuple[Words, ...]:
        """At the bar's beginning: where in the bar they stood is not read. A name is words where no section begins."""
        name = (self.name,) if self.name and not begins else ()
        return tuple(Words(text) for text in (*name, *self.words))

    @property
    def dynamics(self) -> tuple[Dynamic, ...]:
        return tuple(Dynamic(level) for level in self.levels[:1])


def marks_of(measure: Element) -> Marks:
    rehearsal = next((clean_text(one.text or "") for one in measure.iterfind(".//rehearsal")), "")[:_MOST_TEXT]
    texts = [clean_text(one.text or "")[:_MOST_TEXT] for one in measure.iterfind("direction/direction-type/words")]
    texts = [text for text in texts if text.strip()]
    road, used = _signs(measure, texts)
    name = _name(measure, used)
    words = [text for text in texts if text not in used and text != name and not _TIMES.match(text)]
    return Marks(
        rehearsal=rehearsal,
        name=name,
        words=tuple(dict.fromkeys(words))[:_MOST_WORDS],
        levels=tuple(_levels(measure)),
        quarters_bpm=_tempo(measure),
        road=road,
        closes=any(one.text in ("light-light", "light-heavy") for one in measure.iterfind("barline/bar-style")),
        ends_bracket=any(one.get("type") in ("stop", "discontinue") for one in measure.iterfind("barline/ending")),
    )


def _name(measure: Element, used: set[str]) -> str:
    """Bold words are the name of a section, where one begins (as we write them)."""
    bold = (one for one in measure.iterfind("direction/direction-type/words") if one.get("font-weight") == "bold")
    texts = (clean_text(one.text or "")[:_MOST_TEXT] for one in bold)
    return next((text for text in texts if text.strip() and text not in used), "")


def _levels(measure: Element) -> Iterator[str]:
    for one in measure.iterfind("direction/direction-type/dynamics"):
        yield from (sign.tag for sign in one if sign.tag in LEVELS)


def _tempo(measure: Element) -> Fraction | None:
    sounds = [one.get("tempo", "") for one in measure.iter("sound")]
    return next((Fraction(text) for text in sounds if re.fullmatch(r"\d{1,4}(\.\d{1,6})?", text) and float(text)), None)


def _signs(measure: Element, texts: Sequence[str]) -> tuple[Road, set[str]]:
    """The road at this measure, and the words that said it."""
    sounds = [one.attrib for one in measure.iter("sound")]
    has = {
        name: any(name in one for one in sounds) for name in ("dalsegno", "dacapo", "tocoda", "fine", "segno", "coda")
    }
    to_coda = [text for text in texts if _TO_CODA.match(text)]
    fine = [text for text in texts if _FINE.match(text)]
    jumps = [(text, found) for text in texts if (found := _JUMP.search(text))]
    is_jump = has["dalsegno"] or has["dacapo"] or bool(jumps)
    jump = _jump(jumps[0] if jumps else None, to_start=has["dacapo"]) if is_jump else None
    repeats = list(measure.iterfind("barline/repeat"))
    backward = [one for one in repeats if one.get("direction") == "backward"]
    road = Road(
        repeat_start=any(one.get("direction") == "forward" for one in repeats),
        repeat_end=_times(backward[0].get("times")) if backward else 0,
        ending=_passes(measure),
        segno=has["segno"] or measure.find("direction/direction-type/segno") is not None,
        coda=_begins_coda(measure, has, is_to_coda=has["tocoda"] or bool(to_coda)),
        to_coda=has["tocoda"] or bool(to_coda),
        jump=jump,
        fine=has["fine"] or bool(fine),
    )
    return road, {*to_coda, *fine, *(text for text, _ in jumps)}


def _begins_coda(measure: Element, has: dict[str, bool], *, is_to_coda: bool) -> bool:
    """A coda sign beside "To Coda" is where it leads from; any other is where it leads to."""
    return has["coda"] or (measure.find("direction/direction-type/coda") is not None and not is_to_coda)


def _jump(said: tuple[str, re.Match[str]] | None, *, to_start: bool) -> Jump:
    if said is None:
        return Jump(START if to_start else SEGNO, END)
    text, found = said
    is_start = found["to"].lower().replace(".", "").replace(" ", "") in ("dc", "dacapo")
    until = {"coda": CODA, "fine": FINE}.get((found["until"] or "").lower(), END)
    return Jump(START if is_start else SEGNO, until, repeats=bool(_WITH_REPEATS.search(text)))


def _times(text: str | None) -> int:
    return min(max(2, int(text)), _MOST_TIMES) if text and text.isdecimal() else 2


def _passes(measure: Element) -> tuple[int, ...]:
    for one in measure.iterfind("barline/ending"):
        if one.get("type") == "start":
            numbers = [int(number) for number in _PASSES.findall(one.get("number") or "")]
            return tuple(dict.fromkeys(number for number in numbers if 1 <= number <= _MOST_TIMES))
    return ()


def road_of(marks: Sequence[Marks]) -> Iterator[Road]:
    """The road of each bar: a bracket goes on over the bars up to where it ends. How often a repeat with endings is
    played, the last pass of its brackets says."""
    now: tuple[int, ...] = ()
    roads: list[Road] = []
    for one in marks:
        now = one.road.ending or now
        roads.append(replace(one.road, ending=now))
        if one.ends_bracket or one.road.repeat_end:
            now = ()
    for at, road in enumerate(roads):
        if road.repeat_end and road.ending:
            last = at
            while last + 1 < len(roads) and roads[last + 1].ending:
                last += 1
            most = max(number for other in roads[at : last + 1] for number in other.ending)
            yield replace(road, repeat_end=max(road.repeat_end, min(most, _MOST_TIMES)))
        else:
            yield road
