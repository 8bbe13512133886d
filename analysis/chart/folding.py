"""Folding repetition as a copyist would: a section that comes again at once is a repeat, with endings where only its
last bars differ; two sections that come again together are one repeat; a longer return is one D.S.

Never at the cost of reading (house choices): one D.S. at most, and only where it saves two lines; endings of two bars
at most; nothing is folded that would be played otherwise than it was heard. Dynamics may differ: it says "2nd time f".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from analysis.chart.document import CODA, DRUMS, FINE, SLASHES, Bar, Chart, Jump, Note, Road, Section, Words
from analysis.chart.entries import is_entry
from analysis.chart.from_draft import Unit, header, units_of, with_groove_and_dynamics, written
from analysis.chart.roadmap import played_order
from analysis.core.chart_draft import ChartDraft
from analysis.maps.tempo_map import TempoMap

_MOST_ENDING, _LEAST_SAVED, _MOST_TIMES = 2, 8, 8
_NUMBERED = re.compile(r"^([A-Z])\d+$")
_TIMES = {2: "2nd", 3: "3rd"}


def chart_from_draft(
    draft: ChartDraft, *, title: str, artist: str = "", tempo_map: TempoMap | None = None, fold: bool = True
) -> Chart | None:
    """The chart of a draft; None where the draft has no bars. `fold` False writes every bar out."""
    units = units_of(draft, tempo_map)
    if not units:
        return None
    chart = header(draft, title, artist, tempo_map)
    return replace(chart, sections=folded(units) if fold else written(units))


def folded(units: Sequence[Unit]) -> tuple[Section, ...]:
    groups = _pairs_repeated(_repeated(units))
    for jump in (*_jumps(groups), None):
        sections = _sections(groups, jump)
        if _plays(sections, units):
            kept = _kept(groups, jump)
            louder = [_louder(section, group.units) for section, group in zip(sections, kept, strict=True)]
            return with_groove_and_dynamics(louder, [group.units[0] for group in kept])
    return written(units)


def refolded(chart: Chart) -> Chart:
    """A written-out chart, folded. One with sections that people decided about stays as it is."""
    if any(section.decided for section in chart.sections) or any(bar.road != Road() for bar in chart.bars):
        return chart
    return replace(chart, sections=folded(tuple(_units_again(chart.sections))))


def _units_again(sections: Sequence[Section]) -> Iterator[Unit]:
    """What was written once, groove and dynamic, given back to each section that it holds for."""
    groove: tuple[Note, ...] = ()
    dynamic = ""
    for section in sections:
        bars = list(section.bars)
        place = next((at for at, bar in enumerate(bars) if bar.shows == DRUMS and "content" not in bar.decided), None)
        if place is not None:
            groove, bars[place] = bars[place].notes, replace(bars[place], shows=SLASHES, notes=())
        first = bars[0]
        at_once = first.dynamics and first.dynamics[0].beat == 1 and "dynamics" not in first.decided
        if at_once:
            dynamic, first = first.dynamics[0].level, replace(first, dynamics=first.dynamics[1:])
        entries = ""
        if first.words and is_entry(first.words[0]) and "words" not in first.decided:
            entries, first = first.words[0].text, replace(first, words=first.words[1:])
        letter = _NUMBERED.sub(r"\1", section.letter)
        yield Unit(letter, (first, *bars[1:]), groove, dynamic, entries)


@dataclass(frozen=True)
class _Group:
    """One written section and the units that it is played as. `ends` are the bars that differ, pass by pass."""

    units: tuple[Unit, ...]
    ends: int = 0
    opens: bool = False  # a repeat of this and the next section begins here
    closes: bool = False
    inner: bool = True  # the units follow on one another

    @property
    def written_bars(self) -> int:
        return len(self.units[0].bars) + self.ends


@dataclass(frozen=True)
class _Return:
    """Groups `first` to `last` come again after `after`, in place of the groups up to `until` (excluded)."""

    first: int
    last: int
    after: int
    until: int


def _same(one: Unit, two: Unit, without: int = 0) -> bool:
    bars = len(one.bars) - without
    return (
        one.letter == two.letter
        and one.groove == two.groove
        and len(one.bars) == len(two.bars)
        and one.bars[:bars] == two.bars[:bars]
    )


def _repeated(units: Sequence[Unit]) -> list[_Group]:
    groups: list[_Group] = []
    at = 0
    while at < len(units):
        times = 1
        while at + times < len(units) and times < _MOST_TIMES and _same(units[at], units[at + times]):
            times += 1
        ends = _ending(units[at : at + 2]) if times == 1 and not _same_again(units, at + 1) else 0
        taken = 2 if ends else times
        groups.append(_Group(tuple(units[at : at + taken]), ends))
        at += taken
    return groups


def _same_again(units: Sequence[Unit], at: int) -> bool:
    return at + 1 < len(units) and _same(units[at], units[at + 1])


def _ending(pair: Sequence[Unit]) -> int:
    """How many bars at the end of two sections differ, where endings can say it; else 0."""
    if len(pair) < 2 or len(pair[0].bars) < 4 * _MOST_ENDING - 4:
        return 0
    return next((ends for ends in range(1, _MOST_ENDING + 1) if _same(pair[0], pair[1], ends)), 0)


def _pairs_repeated(groups: list[_Group]) -> list[_Group]:
    """Verse and chorus that come again at once: one repeat around both."""
    found: list[_Group] = []
    at = 0
    while at < len(groups):
        four = groups[at : at + 4]
        single = len(four) == 4 and all(len(group.units) == 1 for group in four)
        if single and _same(four[0].units[0], four[2].units[0]) and _same(four[1].units[0], four[3].units[0]):
            found.append(_Group(four[0].units + four[2].units, opens=True, inner=False))
            found.append(_Group(four[1].units + four[3].units, closes=True, inner=False))
            at += 4
        else:
            found.append(groups[at])
            at += 1
    return found


def _jumps(groups: Sequence[_Group]) -> Iterator[_Return]:
    """Returns that are worth a D.S., the one that saves most first."""
    found = []
    for after in range(1, len(groups) - 1):
        for first in range(after):
            last = first
            while last < after and after + 1 + last - first < len(groups):
                if not _comes_again(groups[last], groups[after + 1 + last - first]):
                    break
                found.append(_Return(first, last, after, after + 2 + last - first))
                last += 1
    saved = {jump: sum(group.written_bars for group in groups[jump.after + 1 : jump.until]) for jump in found}
    worth = [jump for jump in found if saved[jump] >= _LEAST_SAVED]
    yield from sorted(worth, key=lambda jump: (-saved[jump], jump.first, jump.after))


def _comes_again(first: _Group, later: _Group) -> bool:
    """Played once more as its last pass."""
    return len(later.units) == 1 and not later.opens and not later.closes and _same(first.units[-1], later.units[0])


def _kept(groups: Sequence[_Group], jump: _Return | None) -> list[_Group]:
    return [*groups[: jump.after + 1], *groups[jump.until :]] if jump else list(groups)


def _sections(groups: Sequence[_Group], jump: _Return | None) -> tuple[Section, ...]:
    kept = _kept(groups, jump)
    sections = [_section(group) for group in kept]
    if jump:
        tail = jump.after + 1 < len(kept)
        _sign(sections, jump.first, 0, segno=True)
        _sign(sections, jump.last, -1, **({"to_coda": True} if tail else {"fine": True}))
        _sign(sections, jump.after, -1, jump=Jump(until=CODA if tail else FINE))
        if tail:
            _sign(sections, jump.after + 1, 0, coda=True)
    return tuple(_lettered(sections))


def _lettered(sections: Sequence[Section]) -> Iterator[Section]:
    times: dict[str, int] = {}
    for section in sections:
        times[section.letter] = times.get(section.letter, 0) + 1
        again = str(times[section.letter]) if section.letter and times[section.letter] > 1 else ""
        yield replace(section, letter=section.letter + again)


def _sign(sections: list[Section], at: int, place: int, **signs: object) -> None:
    bars = list(sections[at].bars)
    bars[place] = replace(bars[place], road=replace(bars[place].road, **signs))  # type: ignore[arg-type]
    sections[at] = replace(sections[at], bars=tuple(bars))


def _section(group: _Group) -> Section:
    first = group.units[0]
    bars = list(first.bars)
    if group.ends:
        bars = [*_under(bars, group.ends, 1), *_under(list(group.units[1].bars), group.ends, 2)[-group.ends :]]
        last = len(first.bars) - 1
        bars[last] = replace(bars[last], road=replace(bars[last].road, repeat_end=2))
    made = [Section(first.letter, tuple(bars))]
    if group.opens or (len(group.units) > 1 and group.inner):
        _sign(made, 0, 0, repeat_start=True)
    if group.closes or (len(group.units) > 1 and group.inner and not group.ends):
        _sign(made, 0, -1, repeat_end=len(group.units))
    return made[0]


def _under(bars: list[Bar], ends: int, number: int) -> list[Bar]:
    return bars[:-ends] + [replace(bar, road=Road(ending=(number,))) for bar in bars[-ends:]]


def _louder(section: Section, units: Sequence[Unit]) -> Section:
    """Says what a later pass is to be, where it is not as the one before."""
    words = []
    for number, (before, unit) in enumerate(pairwise(units), 2):
        louder = unit.dynamic if unit.dynamic != before.dynamic else ""
        if said := ", ".join(filter(None, [louder, unit.entries])):
            words.append(Words(f"{_TIMES.get(number, f'{number}th')} time {said}"))
    first = section.bars[0]
    return replace(section, bars=(replace(first, words=(*first.words, *words)), *section.bars[1:]))


def _plays(sections: Sequence[Section], units: Sequence[Unit]) -> bool:
    """Whether the road leads through the very bars that were drafted."""
    chart = Chart("", tuple(sections))
    bars = chart.bars
    played = [replace(bars[number - 1], road=Road()) for number in played_order(chart).order]
    return played == [bar for unit in units for bar in unit.bars]
