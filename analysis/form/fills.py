"""Bars in which the drummer fills: the last pulse has strokes that the section's groove has not, and time is not kept.

A bar in which the band plays a figure or rests is no fill, nor is one whose first half differs as much. The fill begins
with the first pulse from which on the bar differs so to its end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from analysis.core.chart_draft import Hit, Stop
from analysis.core.reports import Section
from analysis.core.samples import Doubles
from analysis.form.grooves import DrumBars

# Bands where snare and toms are, and where time is kept; so little time is none (house choices).
_SKINS, _HIGHEST = slice(1, 5), 5
_LITTLE = 0.1
_MOST_NEW = 1.5
# A logistic regression, fitted on the songs of `bench.form.songs.FITTED`, for drums in files of their own and in a mix:
# new strokes in the last pulse, and how much of its time is not kept; both of the bar's first half; whether the bar is
# its section's last. In a mix strokes of other players look new.
_WEIGHTS_ALONE, _WEIGHTS_IN_MIX = np.array([4.1, 7.3, -3.1, -5.0, 1.5]), np.array([2.4, 7.6, 0.6, -5.0, 2.3])
_LEAST_ALONE, _LEAST_IN_MIX = 5.2, 7.3
# A pulse before the last is the fill's from so many new strokes and so much time that is not kept on; in a mix the time
# alone says it (house choices).
_UNKEPT_WEIGHT, _LEAST_BEFORE, _LEAST_UNKEPT_BEFORE = 1.5, 0.8, 0.35


class Fill(NamedTuple):
    """To the end of its bar, from a beat in the meter's written unit, counted from 1."""

    bar: int
    beat: float


def find_fills(
    bars: DrumBars, sections: Sequence[Section], hits: Sequence[Hit], stops: Sequence[Stop]
) -> tuple[Fill, ...]:
    """Fills in order."""
    taken = {hit.bar for hit in hits} | {stop.bar for stop in stops}
    return tuple(fill for section in sections for fill in _fills_in(bars, section) if fill.bar not in taken)


def _fills_in(bars: DrumBars, section: Section) -> Iterator[Fill]:
    groove = bars.groove_of(section)
    strongest = groove.max(axis=0, initial=0.0)
    rows = np.flatnonzero(bars.rows_of(section))
    if not strongest.all():
        return
    pulse = round(bars.grid.pulse_beats / (bars.grid.beats[1] - bars.grid.beats[0]))
    usual = groove / strongest
    for row in rows:
        slots = int(bars.grid.inside[row].sum())
        if slots < 2 * pulse:
            continue
        differing = _Differing(bars.jumps[row, :slots] / strongest, usual[:slots], pulse)
        number = int(bars.grid.bars[row]) + 1
        is_last = number == section.start_bar + section.bars - 1
        if differing.is_fill(is_last=is_last, alone=bars.alone):
            yield Fill(number, float(bars.grid.beats[differing.start(alone=bars.alone)]))


class _Differing:
    """How a bar differs from its section's groove: new strokes by slot, and how much of the time is not kept."""

    def __init__(self, jumps: Doubles, usual: Doubles, pulse: int) -> None:
        self.pulse = pulse
        self.new = np.clip(jumps - usual, 0, 1)[:, _SKINS].max(axis=1)
        self.missing = np.maximum(usual - jumps, 0)[:, _HIGHEST]
        self.time = usual[:, _HIGHEST]

    def unkept(self, start: int, end: int) -> float:
        """Share of the time between these slots that is not kept."""
        return float(self.missing[start:end].sum() / (self.time[start:end].sum() + _LITTLE))

    def new_between(self, start: int, end: int) -> float:
        return min(float(self.new[start:end].sum()), _MOST_NEW)

    def is_fill(self, *, is_last: bool, alone: bool) -> bool:
        end = len(self.new)
        parts = ((end - self.pulse, end), (0, end // 2))
        numbers = [number for part in parts for number in (self.new_between(*part), self.unkept(*part))]
        weights, least = (_WEIGHTS_ALONE, _LEAST_ALONE) if alone else (_WEIGHTS_IN_MIX, _LEAST_IN_MIX)
        return bool(weights @ np.array([*numbers, is_last]) > least)

    def start(self, *, alone: bool) -> int:
        """The slot that the fill begins on: a pulse."""
        start = (len(self.new) - self.pulse) // self.pulse * self.pulse
        while start > 0 and self._goes_with(start - self.pulse, alone=alone):
            start -= self.pulse
        return start

    def _goes_with(self, start: int, *, alone: bool) -> bool:
        end = start + self.pulse
        unkept = self.unkept(start, end)
        if not alone:
            return unkept > _LEAST_UNKEPT_BEFORE
        return self.new_between(start, end) + _UNKEPT_WEIGHT * unkept > _LEAST_BEFORE
