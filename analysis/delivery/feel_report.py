"""What holding a take against the grid hands out.

Tested in `tests/analysis/delivery/test_feel.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.core.reports import Record


@dataclass(frozen=True)
class Offsets(Record):
    """Distance from the grid over some strokes: median (late is positive) and the spread that holds two in three.

    `band`: low is the kick, middle the snare, high hat and cymbals. `trend_ms`: how much later the last bar is than the
    first; None where that cannot be told from how players wander. `error_ms`: the median's standard error.
    """

    band: str
    attacks: int
    median_ms: float
    spread_ms: float
    trend_ms: float | None = None
    error_ms: float | None = None


@dataclass(frozen=True)
class FeelSection(Record):
    start_bar: int
    bars: int
    offsets: tuple[Offsets, ...]


@dataclass(frozen=True)
class FeelReport(Record):
    """`division`: the part of the beat that strokes were compared with (4: sixteenths of a quarter beat, 3: thirds)."""

    division: int
    overall: tuple[Offsets, ...]
    sections: tuple[FeelSection, ...]
