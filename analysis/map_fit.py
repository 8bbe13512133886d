"""From bar lines to a tempo map: as few segments as hold every bar line within a tolerance, anchored on downbeats."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.reports import MapSegment

Doubles = NDArray[Any]
TIME_DECIMALS = 6
BPM_DECIMALS = 4


def segments_through(
    downbeats_s: Sequence[float] | Doubles,
    *,
    first_bar: int,
    beats_per_bar: int,
    meter: str,
    tolerance_s: float,
    changes_s: Doubles | None = None,
) -> tuple[MapSegment, ...]:
    """Segments whose bars start within `tolerance_s` of the given bar lines; each begins on one of them.

    Where it is known when the tempo changes, the segments begin just there: on the bar lines nearest to `changes_s`.
    """
    times = np.asarray(downbeats_s, dtype=np.float64)
    known = None if changes_s is None else _nearest(times, changes_s)
    segments: list[MapSegment] = []
    start = 0
    while start < len(times) - 1:
        end = _longest(times, start, tolerance_s) if known is None else _next(known, start, len(times) - 1)
        bar_s = (times[end] - times[start]) / (end - start)
        segments.append(
            MapSegment(
                bar=first_bar + start,
                time_s=round(float(times[start]), TIME_DECIMALS),
                bpm=round(60 * beats_per_bar / float(bar_s), BPM_DECIMALS),
                meter=meter,
            )
        )
        start = end
    return tuple(segments)


def _nearest(times: Doubles, changes_s: Doubles) -> list[int]:
    return [int(np.abs(times - change_s).argmin()) for change_s in changes_s]


def _next(known: list[int], start: int, last: int) -> int:
    return min([one for one in known if one > start], default=last)


def _longest(times: Doubles, start: int, tolerance_s: float) -> int:
    """The last bar line to which a straight run from `start` keeps all between within the tolerance."""
    end = start + 1
    for candidate in range(start + 2, len(times)):
        bars = np.arange(candidate - start + 1)
        line = times[start] + bars * (times[candidate] - times[start]) / (candidate - start)
        if np.abs(times[start : candidate + 1] - line).max() > tolerance_s:
            break
        end = candidate
    return end
