"""A delivery's sheet in words, shared by its page, its PDF and its plain text."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.core.units import tempo_in_words
from analysis.delivery.check_results import Check
from analysis.maps.tempo_map import Segment, TempoMap

_CHANNEL_WORDS = {1: "mono", 2: "stereo"}


def tempo_lines(tempo_map: TempoMap, rates_hz: Iterable[int]) -> list[str]:
    """Each stretch of the map, and the frame of bar one at each rate."""
    lines = [
        f"from bar {segment.bar}, at {float(segment.time_s):.6f} s: {_pace(segment)}" for segment in tempo_map.segments
    ]
    for rate_hz in sorted(rates_hz):
        frame = tempo_map.frame_of_bar(1, rate_hz)
        lines.append(f"bar one at {float(tempo_map.bar_one_s):.6f} s: frame {frame} at {rate_hz} Hz, counted from 0")
    return lines


def _pace(segment: Segment) -> str:
    """A free passage has bars, and a tempo only to lead through them: a programme needs it, nobody keeps it."""
    pace = f"{tempo_in_words(f'{float(segment.bpm):.5f}', segment.meter.beat_name)} in {segment.meter}"
    return f"free (counted at {pace})" if segment.free else pace


def channel_words(channels: int | None) -> str:
    return _CHANNEL_WORDS.get(channels or 0, f"{channels} channels") if channels else ""


def figure_of(check: Check) -> str:
    """What was measured, with its interval: "480 (479.5 to 480.5)"; empty where the sentence says it all."""
    value = check.value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return ""
    if check.low is None or check.high is None:
        return f"{round(value, 2):g}" if isinstance(value, float) else str(value)
    return f"{value:g} ({check.low:g} to {check.high:g})"
