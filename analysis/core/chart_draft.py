"""What is drafted for a song's chart, and its JSON form. Bars count from 1 at bar one, beats from 1 in the meter's
written unit (a quarter in 4/4, an eighth in 6/8), with fractions.

Tested with what makes it: tests/analysis/form/test_draft.py."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.core.reports import Record, Section

EndingKind = Literal["hit", "held", "fade", "ritardando", "none"]


@dataclass(frozen=True)
class Hit(Record):
    """A place where the band plays one figure together."""

    bar: int
    beat: float
    length_beats: float
    confidence: float = 0.0


@dataclass(frozen=True)
class Stop(Record):
    """Everybody rests."""

    bar: int
    beat: float
    beats: float


@dataclass(frozen=True)
class SectionGroove(Record):
    """What the guide drums play in most bars of a section, which is counted from 1; beats of one bar."""

    section: int
    kick: tuple[float, ...] = ()
    snare: tuple[float, ...] = ()
    hat: tuple[float, ...] = ()


@dataclass(frozen=True)
class Entry(Record):
    """Who begins to play with a section, which is counted from 1, or plays no more: a role, or a file's own words."""

    section: int
    player: str
    enters: bool = True


@dataclass(frozen=True)
class Ending(Record):
    kind: EndingKind = "none"
    bar: int = 0


@dataclass(frozen=True)
class MeterChange(Record):
    """From `bar` on."""

    bar: int
    meter: str


@dataclass(frozen=True)
class ChartDraft(Record):
    """`downbeats_s` holds where each bar begins and where the last one ends; `players` are all that `entries` is about.
    `fill_beats` say where in its bar each of `fills` begins. `pickup_beats` are felt beats of music before bar one."""

    bars: int = 0
    downbeats_s: tuple[float, ...] = ()
    meters: tuple[MeterChange, ...] = ()
    sections: tuple[Section, ...] = ()
    hits: tuple[Hit, ...] = ()
    stops: tuple[Stop, ...] = ()
    grooves: tuple[SectionGroove, ...] = ()
    fills: tuple[int, ...] = ()
    fill_beats: tuple[float, ...] = ()
    ending: Ending = Ending()
    entries: tuple[Entry, ...] = ()
    players: tuple[str, ...] = ()
    pickup_beats: float = 0.0
