"""The road map: in which order a chart's bars are played.

Read as players read it (common practice): after a D.C. or D.S. repeats are not taken again and the last ending is
played, unless the jump says "with repeats"; To Coda and Fine count only after the jump that names them; each jump is
taken once. A repeat without a sign where it starts goes back to the beginning.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import takewhile

from analysis.chart.document import CODA, FINE, SEGNO, Bar, Chart, Jump

# So many passes are named at a bar before "…" (house choice: what a line has room for).
_PASSES_NAMED = 3
# No song has as many; a road that leads on is one without an end (house choice).
MOST_PLAYED = 5_000


@dataclass(frozen=True)
class Played:
    """A chart's bars in the order in which they are played, as written numbers from 1; `endless` where the road was
    given up, `unplayed` the written bars that it never reaches."""

    order: tuple[int, ...]
    endless: bool = False
    unplayed: tuple[int, ...] = ()


def played_order(chart: Chart) -> Played:
    bars = chart.bars
    walk = _Walk(bars)
    order = []
    for index in walk.steps():
        order.append(index + 1)
        if len(order) > MOST_PLAYED:
            return Played(tuple(order[:MOST_PLAYED]), endless=True)
    unplayed = sorted(set(range(1, len(bars) + 1)) - set(order))
    return Played(tuple(order), unplayed=tuple(unplayed))


def song_bars(chart: Chart) -> dict[int, tuple[int, ...]]:
    """For each written bar the bars of the song that it is played as."""
    found: dict[int, list[int]] = {number: [] for number in range(1, len(chart.bars) + 1)}
    for place, number in enumerate(played_order(chart).order):
        found[number].append(chart.first_bar + place)
    return {number: tuple(bars) for number, bars in found.items()}


def bar_labels(chart: Chart) -> dict[int, str]:
    """What a person calls each written bar: its number in the song, with those of later passes behind it ("17 (25)").

    A bar that the road never reaches has the number it has as written, marked as such.
    """
    return {number: _label(number, bars) for number, bars in song_bars(chart).items()}


def _label(number: int, bars: Sequence[int]) -> str:
    if not bars:
        return f"{number} as written"
    named = [str(bar) for bar in bars[1 : 1 + _PASSES_NAMED]] + ["…"] * (len(bars) > 1 + _PASSES_NAMED)
    return f"{bars[0]} ({', '.join(named)})" if named else str(bars[0])


def section_counts(chart: Chart) -> tuple[str, ...]:
    """How long each section is, in words: as written, and where that differs as it is played the first time."""
    order = played_order(chart).order
    counts, first = [], 1
    for section in chart.sections:
        bars = range(first, first + len(section.bars))
        counts.append(_count(bars, list(_first_visit(order, bars))))
        first += len(section.bars)
    return tuple(counts)


def _first_visit(order: Sequence[int], bars: range) -> Iterator[int]:
    entered = next((at for at, number in enumerate(order) if number in bars), len(order))
    return takewhile(lambda number: number in bars, order[entered:])


def _count(bars: range, visit: Sequence[int]) -> str:
    words = "1 bar" if len(bars) == 1 else f"{len(bars)} bars"
    times, left = divmod(len(visit), len(bars))
    if times > 1 and not left and list(visit) == list(bars) * times:
        return f"{words} × {times}"
    return words if len(visit) in (0, len(bars)) else f"{words}, {len(visit)} played"


def _last_of_endings(bars: Sequence[Bar], index: int) -> int:
    """The end of the brackets that follow on the one over a repeat's last bar."""
    if not bars[index].road.ending:
        return index
    while index + 1 < len(bars) and bars[index + 1].road.ending:
        index += 1
    return index


@dataclass
class _Walk:
    bars: Sequence[Bar]
    taken: set[int] = field(default_factory=set)  # jumps
    passes: dict[int, int] = field(default_factory=dict)  # by the first bar of a passage
    jump: Jump | None = None

    def steps(self) -> Iterator[int]:
        index: int | None = 0
        while index is not None and index < len(self.bars):
            if self._is_left_out(index):
                index += 1
                continue
            yield index
            index = self._after(index)

    def _is_left_out(self, index: int) -> bool:
        """Whether a bar lies under a bracket of other passes."""
        ending = self.bars[index].road.ending
        return bool(ending) and self._pass(index) not in ending

    def _pass(self, index: int) -> int:
        first = self._first_of(index)
        if self.jump and not self.jump.repeats:
            return self._last_pass(index)
        return self.passes.get(first, 1)

    def _first_of(self, index: int) -> int:
        """Where the passage begins that a bar belongs to: at its sign, or after the passage before it."""
        for back in range(index, 0, -1):
            before = self.bars[back - 1].road
            closed = bool(before.repeat_end) and not before.ending
            if self.bars[back].road.repeat_start or closed or (before.ending and not self.bars[back].road.ending):
                return back
        return 0

    def _last_pass(self, index: int) -> int:
        """The last pass that any bracket of the passage names."""
        first, last = self._first_of(index), _last_of_endings(self.bars, index)
        return max((number for bar in self.bars[first : last + 1] for number in bar.road.ending), default=1)

    def _after(self, index: int) -> int | None:
        road = self.bars[index].road
        if road.repeat_end and self._goes_back(index, road.repeat_end):
            return self._first_of(index)
        if self.jump and road.fine and self.jump.until == FINE:
            return None
        if self.jump and road.to_coda and self.jump.until == CODA:
            return next((at for at, bar in enumerate(self.bars) if bar.road.coda), None)
        if road.jump and index not in self.taken:
            return self._jumps(index, road.jump)
        return index + 1

    def _goes_back(self, index: int, times: int) -> bool:
        if self.jump and not self.jump.repeats:
            return False
        first = self._first_of(index)
        number = self.passes.get(first, 1)
        if number >= times:
            if not self.bars[index].road.ending:
                self.passes.pop(first, None)
            return False
        self.passes[first] = number + 1
        return True

    def _jumps(self, index: int, jump: Jump) -> int | None:
        to = next((at for at, bar in enumerate(self.bars) if bar.road.segno), None) if jump.to == SEGNO else 0
        if to is None:
            return index + 1
        self.taken.add(index)
        self.jump = jump
        self.passes.clear()
        return to
