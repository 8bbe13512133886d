"""What does not add up in a chart: signs without their partners, bars that are never played, a length that is not the
song's. A chart with problems stays a document that can be saved; each problem is named with its bar.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby
from typing import Any

from analysis.chart.document import CODA, DRUMS, FINE, REPEAT_1, REPEAT_2, RHYTHM, SEGNO, Bar, Chart
from analysis.chart.roadmap import Played, bar_labels, played_order
from analysis.maps.tempo_map import TempoMap

# Codes are stored with versions of a chart: never renamed or reused. The sentences follow "Bar 12: ".
SENTENCES = {
    "ds-without-segno": "D.S., but there is no segno to go back to",
    "segno-without-ds": "a segno, but no D.S. that goes back to it",
    "two-segnos": "a second segno; a D.S. goes to the first",
    "coda-without-to-coda": "a coda, but no To Coda that leads to it",
    "coda-without-jump": "To Coda, but no D.S. or D.C. al Coda before it counts",
    "to-coda-without-coda": "To Coda, but there is no coda",
    "al-coda-without-to-coda": "a jump al Coda, but there is no To Coda",
    "two-codas": "a second coda; To Coda goes to the first",
    "al-fine-without-fine": "a jump al Fine, but there is no Fine",
    "fine-without-jump": "Fine, but no D.S. or D.C. al Fine",
    "repeat-not-closed": "a repeat begins that does not end",
    "repeat-not-opened": "a repeat ends that does not begin",
    "ending-without-first": "an ending without the one for the pass before it",
    "ending-without-repeat": "an ending bracket, but the passage is not repeated",
    "pass-without-ending": "the passage is played more often than its endings say",
    "endless": "the signs lead round in a circle",
    "never-played": "is never played",
    "repeat-of-nothing": "a repeat sign with nothing before it to repeat",
    "half-repeat": "a repeat of two bars needs both bars in its section; slashes are printed",
    "no-notes": "is to be written out, but has no notes",
}


@dataclass(frozen=True)
class Problem:
    """`bar` is the written one, from 1; `label` is what a person calls it (`roadmap.bar_labels`)."""

    code: str
    bar: int
    label: str = field(default="", compare=False)

    @property
    def sentence(self) -> str:
        return f"Bar {self.label or self.bar}: {SENTENCES[self.code]}."

    def to_json(self) -> dict[str, Any]:
        return {"code": self.code, "bar": self.bar, "sentence": self.sentence}


@dataclass(frozen=True)
class LengthCheck:
    """The chart's bars as played beside the song's."""

    chart_bars: int
    song_bars: int

    @property
    def agrees(self) -> bool:
        return self.chart_bars == self.song_bars

    def sentence(self, bar_s: float | Fraction | None = None) -> str:
        if self.agrees:
            return f"The chart and the song have {self.song_bars} bars."
        text = f"The chart has {self.chart_bars} bars, the song {self.song_bars}"
        apart = abs(self.chart_bars - self.song_bars)
        return f"{text}: {float(apart * bar_s):.1f} seconds apart." if bar_s else f"{text}."


@dataclass(frozen=True)
class MeterDifference:
    """A bar whose meter is another than the map's."""

    bar: int
    song_bar: int
    chart_meter: str
    map_meter: str


def problems_of(chart: Chart) -> tuple[Problem, ...]:
    """By bar, then code."""
    bars, labels = chart.bars, bar_labels(chart)
    found = {*_jumps(bars), *_codas(bars), *_repeats(bars), *_endings(bars), *_contents(bars)}
    found |= {Problem("half-repeat", number) for number in half_repeats(chart)}
    every = sorted({*found, *_walk(played_order(chart), found)}, key=lambda one: (one.bar, one.code))
    return tuple(replace(one, label=labels[one.bar]) for one in every)


def half_repeats(chart: Chart) -> tuple[int, ...]:
    """Written bars, from 1, of a two-bar repeat that has no second bar in its section: a section begins a line."""
    found, number = [], 0
    for section in chart.sections:
        for shows, run in groupby(section.bars, key=lambda bar: bar.shows):
            length = len(list(run))
            number += length
            if shows == REPEAT_2 and length % 2:
                found.append(number)
    return tuple(found)


def length_check(chart: Chart, *, song_bars: int, first_bar: int = 1) -> LengthCheck:
    """`song_bars` from `first_bar` on, as the map counts; a chart's pick-up before it is not counted."""
    played = len(played_order(chart).order)
    return LengthCheck(played - max(0, first_bar - chart.first_bar), song_bars)


def meter_differences(chart: Chart, tempo_map: TempoMap) -> tuple[MeterDifference, ...]:
    """Each written bar once, at the first bar of the song that differs."""
    bars = chart.bars
    found: dict[int, MeterDifference] = {}
    for place, number in enumerate(played_order(chart).order):
        song_bar = chart.first_bar + place
        ours, theirs = bars[number - 1].meter, tempo_map.segment_at_bar(song_bar).meter
        if ours != theirs and song_bar >= 1:
            found.setdefault(number, MeterDifference(number, song_bar, str(ours), str(theirs)))
    return tuple(found.values())


def _at(bars: Sequence[Bar], sign: str) -> list[int]:
    return [number for number, bar in enumerate(bars, 1) if getattr(bar.road, sign)]


def _jumps(bars: Sequence[Bar]) -> Iterator[Problem]:
    segnos, fines, to_codas = _at(bars, "segno"), _at(bars, "fine"), _at(bars, "to_coda")
    jumps = [(number, bar.road.jump) for number, bar in enumerate(bars, 1) if bar.road.jump]
    for number, jump in jumps:
        if jump.to == SEGNO and not [segno for segno in segnos if segno <= number]:
            yield Problem("ds-without-segno", number)
        if jump.until == FINE and not fines:
            yield Problem("al-fine-without-fine", number)
        if jump.until == CODA and not to_codas:
            yield Problem("al-coda-without-to-coda", number)
    if not any(jump.to == SEGNO for _, jump in jumps):
        yield from (Problem("segno-without-ds", number) for number in segnos[:1])
    if not any(jump.until == FINE for _, jump in jumps):
        yield from (Problem("fine-without-jump", number) for number in fines)
    yield from (Problem("two-segnos", number) for number in segnos[1:])


def _codas(bars: Sequence[Bar]) -> Iterator[Problem]:
    codas, to_codas = _at(bars, "coda"), _at(bars, "to_coda")
    al_coda = any(bar.road.jump and bar.road.jump.until == CODA for bar in bars)
    if not to_codas:
        yield from (Problem("coda-without-to-coda", number) for number in codas[:1])
    for number in to_codas:
        if not codas:
            yield Problem("to-coda-without-coda", number)
        if not al_coda:
            yield Problem("coda-without-jump", number)
    yield from (Problem("two-codas", number) for number in codas[1:])


def _repeats(bars: Sequence[Bar]) -> Iterator[Problem]:
    opened: int | None = None
    closed_before = False
    for number, bar in enumerate(bars, 1):
        if bar.road.repeat_start:
            if opened:
                yield Problem("repeat-not-closed", opened)
            opened = number
        if bar.road.repeat_end:
            goes_on = bool(bar.road.ending) and max(bar.road.ending) > 1
            if not opened and closed_before and not goes_on:
                yield Problem("repeat-not-opened", number)
            opened, closed_before = None, True
    if opened:
        yield Problem("repeat-not-closed", opened)


def _endings(bars: Sequence[Bar]) -> Iterator[Problem]:
    """Brackets that follow on one another belong to one passage; together they name its passes from 1 on."""
    named: set[int] = set()
    times = 0
    for number, bar in enumerate(bars, 1):
        before = bars[number - 2].road.ending if number > 1 else ()
        if not bar.road.ending:
            named, times = set(), 0
            continue
        if bar.road.ending != before:
            if min(bar.road.ending) > 1 and min(bar.road.ending) - 1 not in named:
                yield Problem("ending-without-first", number)
            named |= set(bar.road.ending)
        times = max(times, bar.road.repeat_end)
        last = number == len(bars) or not bars[number].road.ending
        if last and not times:
            yield Problem("ending-without-repeat", number)
        if last and times > max(named):
            yield Problem("pass-without-ending", number)


def _contents(bars: Sequence[Bar]) -> Iterator[Problem]:
    pending = 0  # bars of a two-bar repeat so far
    for number, bar in enumerate(bars, 1):
        if bar.shows == REPEAT_1 and number == 1:
            yield Problem("repeat-of-nothing", number)
        if bar.shows in (RHYTHM, DRUMS) and not bar.notes:
            yield Problem("no-notes", number)
        if bar.shows != REPEAT_2:
            pending = 0
            continue
        if not pending and number < 3:
            yield Problem("repeat-of-nothing", number)
        pending += 1


def _walk(played: Played, found: set[Problem]) -> Iterator[Problem]:
    """Bars that the road does not reach, where no other problem explains it."""
    if played.endless:
        yield Problem("endless", played.order[-1])
    elif not found:
        yield from (Problem("never-played", number) for number in played.unplayed[:1])
