"""Charts made by hand, with invented titles."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from analysis.chart.document import CODA, Bar, Chart, Jump, Road, Section, Tempo
from analysis.maps.tempo_map import MeterSign

FOUR_FOUR, THREE_FOUR, SIX_EIGHT, TWO_FOUR = (MeterSign.parse(text) for text in ("4/4", "3/4", "6/8", "2/4"))


def bar(meter: MeterSign = FOUR_FOUR, **more: Any) -> Bar:
    return Bar(meter, **more)


def with_road(section: Section, at: int, **road: Any) -> Section:
    """The section with signs at its bar `at`, counted from 1."""
    bars = list(section.bars)
    bars[at - 1] = replace(bars[at - 1], road=replace(bars[at - 1].road, **road))
    return replace(section, bars=tuple(bars))


def plain(letter: str, bars: int, name: str = "", meter: MeterSign = FOUR_FOUR) -> Section:
    return Section(letter, tuple(Bar(meter) for _ in range(bars)), name)


def ds_al_coda(*, repeats: bool = False) -> Chart:
    """Intro 1-4; segno and repeat 5, first ending 12, second 13; To Coda after 21; D.S. after 25; coda 26-29."""
    verse = with_road(plain("A", 9, "Verse"), 1, segno=True, repeat_start=True)
    verse = with_road(with_road(verse, 8, ending=(1,), repeat_end=2), 9, ending=(2,))
    chorus = with_road(plain("B", 8, "Chorus"), 8, to_coda=True)
    bridge = with_road(plain("C", 4, "Bridge"), 4, jump=Jump(until=CODA, repeats=repeats))
    coda = with_road(plain("D", 4, "Coda"), 1, coda=True)
    sections = (plain("", 4, "Intro"), verse, chorus, bridge, coda)
    return Chart("Wet Stairs Beside Kettle", sections, tempo=Tempo(Fraction(112)))


def one_section(*bars: Bar, **more: Any) -> Chart:
    return Chart("Four Spare Window Hooks", (Section("A", bars),), meter=bars[0].meter, **more)


def signs(count: int, **at: Road) -> Chart:
    """`count` bars of 4/4 with signs: `bar_3=Road(...)`."""
    return one_section(*(Bar(FOUR_FOUR, road=at.get(f"bar_{number}", Road())) for number in range(1, count + 1)))
