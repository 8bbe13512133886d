"""Bars in which the drummer fills: the last pulse has strokes that the section's groove has not, and time is not kept.

A bar in which the band plays a figure or rests is no fill, nor is one whose first half differs as much.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.core.chart_draft import Hit, Stop
from analysis.core.reports import Section
from analysis.core.samples import Doubles
from analysis.form.grooves import DrumBars

# House choices, found on songs whose fills are known. Bands where snare and toms are, and where time is kept.
_SKINS, _HIGHEST = slice(1, 5), 5
_LITTLE = 0.1
_MOST_NEW = 1.5
# New strokes count once, time that is not kept more, what is new in the first half against it.
_UNKEPT_WEIGHT, _EARLY_WEIGHT = 1.5, 0.6
_LEAST = 1.2
# In a mix strokes of other players look new: less of the time may be kept.
_LEAST_UNKEPT_IN_MIX = 0.5


def find_fills(
    bars: DrumBars, sections: Sequence[Section], hits: Sequence[Hit], stops: Sequence[Stop]
) -> tuple[int, ...]:
    """Numbers of the bars with fills, in order."""
    taken = {hit.bar for hit in hits} | {stop.bar for stop in stops}
    return tuple(bar for section in sections for bar in _fills_in(bars, section) if bar not in taken)


def _fills_in(bars: DrumBars, section: Section) -> Iterator[int]:
    groove = bars.groove_of(section)
    strongest = groove.max(axis=0, initial=0.0)
    rows = np.flatnonzero(bars.rows_of(section))
    if not strongest.all():
        return
    pulse = round(bars.grid.pulse_beats / (bars.grid.beats[1] - bars.grid.beats[0]))
    usual = groove / strongest
    for row in rows:
        slots = int(bars.grid.inside[row].sum())
        if slots >= 2 * pulse and _is_fill(bars.jumps[row, :slots] / strongest, usual[:slots], pulse, alone=bars.alone):
            yield int(bars.grid.bars[row]) + 1


def _is_fill(jumps: Doubles, usual: Doubles, pulse: int, *, alone: bool) -> bool:
    new = np.clip(jumps - usual, 0, 1)[:, _SKINS].max(axis=1)
    unkept = float(np.maximum(usual - jumps, 0)[-pulse:, _HIGHEST].sum() / (usual[-pulse:, _HIGHEST].sum() + _LITTLE))
    early = min(float(new[: len(new) // 2].sum()), _MOST_NEW)
    score = min(float(new[-pulse:].sum()), _MOST_NEW) + _UNKEPT_WEIGHT * unkept - _EARLY_WEIGHT * early
    return score > _LEAST and (alone or unkept > _LEAST_UNKEPT_IN_MIX)
