"""A later draft beside a chart that people have worked on: what they decided stays, the rest follows the draft, and
what differs is listed.

Where nobody decided the road (repeats, jumps) the chart is written anew from the draft, with the decided sections and
bars put back in; else its written bars stay as they are and only what nobody decided in them follows the draft. When
the map moved, `moved` says which bar of the song each bar became (`moved_bars`); decided bars go along.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from analysis.chart.document import BAR_ASPECTS, CHART_ASPECTS, Bar, Chart, Dynamic, Section
from analysis.chart.roadmap import played_order, song_bars

# The fields of a bar that each aspect covers.
_FIELDS = {
    "meter": ("meter",),
    "content": ("shows", "notes"),
    "hits": ("hits",),
    "stops": ("stops",),
    "fills": ("fills",),
    "dynamics": ("dynamics",),
    "words": ("words", "held"),
    "tempo": ("tempo",),
    "road": ("road",),
}
# What is measured of a section stands in its first bar, as these.
_AT_BEGINNINGS = ("dynamics", "words")


@dataclass(frozen=True)
class Difference:
    """Something decided that the draft has otherwise: `bar` is the song's (None: of the whole chart).

    With the aspect "beginning" nobody decided it: the draft begins no section there, and what was measured of it
    is gone.
    """

    bar: int | None
    aspect: str

    def to_json(self) -> dict[str, Any]:
        return {"bar": self.bar, "aspect": self.aspect}


@dataclass(frozen=True)
class Merged:
    """`lost` are decided bars that the song no longer has, by their old numbers: they are nowhere in the chart."""

    chart: Chart
    differences: tuple[Difference, ...] = ()
    shifted: int = 0
    lost: tuple[int, ...] = ()


def moved_bars(old_downbeats_s: Sequence[float], new_downbeats_s: Sequence[float]) -> dict[int, int]:
    """Which new bar each old one is: the one that begins nearest to it, if within half a bar. Bars from 1.

    Both hold where each bar begins and where the last one ends.
    """
    found: dict[int, int] = {}
    for number, (start, end) in enumerate(pairwise(old_downbeats_s), 1):
        at = bisect_left(new_downbeats_s, start)
        near = [place for place in (at - 1, at) if 0 <= place < len(new_downbeats_s) - 1]
        nearest = min(near, key=lambda place: abs(new_downbeats_s[place] - start), default=None)
        if nearest is None or nearest + 1 in found.values():
            continue
        if abs(new_downbeats_s[nearest] - start) < (end - start) / 2:
            found[number] = nearest + 1
    return found


def merged(chart: Chart, draft: Chart, *, moved: Mapping[int, int] | None = None) -> Merged:
    """Bring a chart up to a draft that is written out, bar by bar. Neither is changed.

    Without a decided road the result is written out as well; `folding.refolded` folds it.
    """
    place = moved or {number: number for number in range(-len(chart.bars), 6 * len(chart.bars) + 1)}
    head, differences = _headed(chart, draft)
    shifted = _shift(chart, place)
    has_road = any("road" in bar.decided for bar in chart.bars)
    draft, gone = _with_beginnings(chart, draft, place, all_stay=has_road)
    differences += gone
    if has_road:
        sections, more = _kept_road(chart, draft, place)
        first = place.get(chart.first_bar, chart.first_bar + shifted)
        return Merged(replace(head, sections=sections, first_bar=first), (*differences, *more), shifted)
    sections, more, lost = _rewritten(chart, draft, place)
    made = replace(head, sections=sections, first_bar=draft.first_bar)
    return Merged(made, (*differences, *more), shifted, lost)


def _shift(chart: Chart, place: Mapping[int, int]) -> int:
    """How many bars later the chart's bars lie, where that is one number for most; what people are told."""
    shifts = [place[number] - number for number in range(1, len(chart.bars) + 1) if number in place]
    return max(sorted(set(shifts)), key=shifts.count, default=0)


def _headed(chart: Chart, draft: Chart) -> tuple[Chart, list[Difference]]:
    """What stands above the bars. A text that is there is kept where the draft has none."""
    values: dict[str, Any] = {}
    differences = []
    for name in CHART_ASPECTS:
        ours, theirs = getattr(chart, name), getattr(draft, name)
        if name in chart.decided:
            if theirs and ours != theirs:
                differences.append(Difference(None, name))
        elif theirs:
            values[name] = theirs
    return replace(chart, meter=draft.meter, **values), differences


def _with_beginnings(
    chart: Chart, draft: Chart, place: Mapping[int, int], *, all_stay: bool
) -> tuple[Chart, list[Difference]]:
    """The draft, with what was measured at the beginnings of sections that stay and that it does not have; behind such
    a section its own dynamic holds again. What was measured of the others that it does not have is listed."""
    bars, own = list(draft.bars), _by_song_bar(chart)
    borders = {one.start for one in _stretches(draft)}
    gone: list[Difference] = []
    ends: list[int] = []
    for one in _stretches(chart):
        song = chart.first_bar + one.start
        at = place.get(song, draft.first_bar - 1) - draft.first_bar
        if not 0 <= at < len(bars) or at in borders:
            continue
        lacking = _lacking(own[song], bars[at])
        if all_stay or one.section.decided:
            bars[at] = replace(bars[at], **lacking)
            ends += [chart.first_bar + one.end] if "dynamics" in lacking else []
        elif lacking:
            gone.append(Difference(place[song], "beginning"))
    for song in ends:
        at = place.get(song, draft.first_bar - 1) - draft.first_bar
        is_decided = song in own and "dynamics" in own[song].decided
        if 0 <= at < len(bars) and not bars[at].dynamics and not is_decided:
            bars[at] = replace(bars[at], dynamics=_dynamics_at(draft.bars, at))
    return replace(draft, sections=tuple(_filled(draft.sections, bars))), gone


def _lacking(ours: Bar, theirs: Bar) -> dict[str, Any]:
    """What nobody decided of a section's first bar and another has none of."""
    return {
        name: getattr(ours, name)
        for name in _AT_BEGINNINGS
        if name not in ours.decided and getattr(ours, name) and not getattr(theirs, name)
    }


def _dynamics_at(bars: Sequence[Bar], at: int) -> tuple[Dynamic, ...]:
    """The one that holds where a bar begins, to be written there; none before the first."""
    written = [bar.dynamics[-1].level for bar in bars[:at] if bar.dynamics]
    return (Dynamic(written[-1]),) if written else ()


def _filled(sections: Sequence[Section], bars: Sequence[Bar]) -> Iterator[Section]:
    first = 0
    for section in sections:
        yield replace(section, bars=tuple(bars[first : first + len(section.bars)]))
        first += len(section.bars)


def _kept_road(chart: Chart, draft: Chart, place: Mapping[int, int]) -> tuple[tuple[Section, ...], list[Difference]]:
    drafted = _by_song_bar(draft)
    played = song_bars(chart)
    differences: list[Difference] = []
    sections = []
    number = 0
    for section in chart.sections:
        bars = []
        for bar in section.bars:
            number += 1
            song = next((place[one] for one in played[number] if one in place), None)
            theirs = drafted.get(song) if song is not None else None
            if theirs is None:
                bars.append(bar)
                continue
            bars.append(_brought_up(bar, theirs, song, differences, keep=("road",)))
        sections.append(replace(section, bars=tuple(bars)))
    return tuple(sections), differences


def _by_song_bar(chart: Chart) -> dict[int, Bar]:
    bars = chart.bars
    return {chart.first_bar + place: bars[number - 1] for place, number in enumerate(played_order(chart).order)}


def _brought_up(
    ours: Bar, theirs: Bar, song_bar: int | None, differences: list[Difference], keep: tuple[str, ...] = ()
) -> Bar:
    """The draft's bar with what was decided in ours; `keep` names aspects that stay without a word."""
    values: dict[str, Any] = {}
    for aspect in BAR_ASPECTS:
        own = {name: getattr(ours, name) for name in _FIELDS[aspect]}
        if aspect in ours.decided or aspect in keep:
            values |= own
            differs = any(getattr(theirs, name) != value for name, value in own.items())
            if differs and aspect not in keep:
                differences.append(Difference(song_bar, aspect))
    return replace(theirs, **values, decided=ours.decided)


def _rewritten(
    chart: Chart, draft: Chart, place: Mapping[int, int]
) -> tuple[tuple[Section, ...], list[Difference], tuple[int, ...]]:
    bars = list(draft.bars)
    differences: list[Difference] = []
    lost: list[int] = []
    for song, ours in _by_song_bar(chart).items():
        if not ours.decided:
            continue
        at = place[song] - draft.first_bar if song in place else -1
        if not 0 <= at < len(bars):
            lost.append(song)
            continue
        bars[at] = _brought_up(ours, bars[at], place[song], differences)
    names = list(_named(chart, draft, place, differences))
    return tuple(_divided(bars, names)), differences, tuple(lost)


@dataclass(frozen=True)
class _Stretch:
    """A section's place among the draft's bars, from 0, and what it is called."""

    start: int
    end: int
    section: Section


def _stretches(chart: Chart) -> Iterator[_Stretch]:
    """Of a chart that is played from front to back without signs, or of a folded one by its order of playing."""
    starts, number = {}, 1
    for section in chart.sections:
        starts[number] = section
        number += len(section.bars)
    order = played_order(chart).order
    begins = [place for place, written in enumerate(order) if written in starts]
    for start, end in zip(begins, [*begins[1:], len(order)], strict=True):
        yield _Stretch(start, end, starts[order[start]])


def _named(chart: Chart, draft: Chart, place: Mapping[int, int], differences: list[Difference]) -> Iterator[_Stretch]:
    """The draft's sections, cut where a decided one begins and ends, and the decided ones in their places."""
    decided = []
    for one in _stretches(chart):
        if not one.section.decided:
            continue
        numbers = [
            place[song] for song in range(chart.first_bar + one.start, chart.first_bar + one.end) if song in place
        ]
        if numbers:
            decided.append(_Stretch(min(numbers) - draft.first_bar, max(numbers) + 1 - draft.first_bar, one.section))
    drafted = list(_stretches(draft))
    borders = {one.start for one in drafted}
    differences += [
        Difference(one.start + draft.first_bar, "place")
        for one in decided
        if one.start not in borders or any(one.start < border < one.end for border in borders)
    ]
    yield from sorted([*decided, *_around(drafted, decided)], key=lambda one: one.start)


def _around(drafted: Sequence[_Stretch], decided: Sequence[_Stretch]) -> Iterator[_Stretch]:
    """What of the drafted sections lies outside the decided ones."""
    for one in drafted:
        at = one.start
        for other in sorted(decided, key=lambda other: other.start):
            if other.end <= at or other.start >= one.end:
                continue
            if at < other.start:
                yield replace(one, start=at, end=other.start)
            at = max(at, other.end)
        if at < one.end:
            yield replace(one, start=at)


def _divided(bars: Sequence[Bar], stretches: Sequence[_Stretch]) -> Iterator[Section]:
    for one in stretches:
        own = tuple(bars[max(0, one.start) : one.end])
        if own:
            yield replace(one.section, bars=own)
