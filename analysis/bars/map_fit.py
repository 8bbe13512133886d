"""From bar lines to a tempo map: as few segments as hold every bar line within a tolerance, anchored on downbeats."""

from __future__ import annotations

import numpy as np

from analysis.bars.layout import Layout
from analysis.core.reports import MapSegment
from analysis.core.samples import Doubles
from analysis.maps.tempo_map import MeterSign

# Microseconds are finer than a frame at 192 kHz; a unit of a tempo's last decimal is 0.5 ms after ten minutes at 120.
_TIME_DECIMALS = 6
_BPM_DECIMALS = 4
# A change of tempo this near a bar line falls on it: the line is where the band plays it (house choice).
_ON_LINE_S = 0.05


def segments_through(
    layout: Layout, *, sign: str, tolerance_s: float, changes_s: Doubles | None = None
) -> tuple[MapSegment, ...]:
    """Segments of one tempo and meter through a layout's bar lines; each begins on one of them.

    A bar of another length is a segment of its own.

    Parameters
    ----------
    layout : Layout
        In the files' time.
    sign : str
        The song's meter, such as "6/8".
    tolerance_s : float
        Bars start this near their lines at most.
    changes_s : float64 array, shape (n_changes,), optional
        Seconds at which the tempo changes, where that is known: on bar lines, segments then begin just there.

    Returns
    -------
    tuple of MapSegment
        In order of time, from bar one. Empty for less than one bar.
    """
    times = np.asarray(layout.downbeats_s, dtype=np.float64)
    lengths = np.array(layout.bar_beats or [MeterSign.parse(sign).beats_per_bar] * max(0, len(times) - 1))
    places = np.concatenate([[0], np.cumsum(lengths)])
    breaks = [*map(int, np.flatnonzero(np.diff(lengths)) + 1), len(times) - 1]
    known = None if changes_s is None else _lines_at(times, changes_s)
    segments: list[MapSegment] = []
    start = 0
    while start < len(times) - 1:
        end = min(one for one in [*breaks, *(known or [])] if one > start)
        if known is None:
            end = _longest(times[: end + 1], places, start, tolerance_s)
        beat_s = float(times[end] - times[start]) / int(places[end] - places[start])
        segments.append(
            MapSegment(
                bar=start + 1,
                time_s=round(float(times[start]), _TIME_DECIMALS),
                bpm=round(60 / beat_s, _BPM_DECIMALS),
                meter=_sign_of_bar(sign, int(lengths[start])),
            )
        )
        start = end
    return tuple(segments)


def _lines_at(times: Doubles, changes_s: Doubles) -> list[int] | None:
    """The bar lines at which the tempo changes; None when one changes within a bar."""
    apart = np.abs(times[:, None] - changes_s[None, :])
    return [int(line) for line in apart.argmin(axis=0)] if apart.min(axis=0).max() < _ON_LINE_S else None


def _sign_of_bar(sign: str, beats: int) -> str:
    """The sign of a bar of so many beats in a song of this meter: 2/4 among 4/4, 9/8 among 6/8."""
    meter = MeterSign.parse(sign)
    return f"{beats * 3 if meter.is_compound else beats}/{meter.lower}"


def _longest(times: Doubles, places: Doubles, start: int, tolerance_s: float) -> int:
    """The last bar line to which a straight run from `start` keeps all between within the tolerance."""
    end = start + 1
    for candidate in range(start + 2, len(times)):
        along = (places[start : candidate + 1] - places[start]) / (places[candidate] - places[start])
        line = times[start] + along * (times[candidate] - times[start])
        if np.abs(times[start : candidate + 1] - line).max() > tolerance_s:
            break
        end = candidate
    return end
