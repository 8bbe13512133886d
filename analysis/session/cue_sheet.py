"""Bars and times of a session as comma-separated values (RFC 4180), one line a bar."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from fractions import Fraction

from analysis.core.units import CUE_SHEET_TEMPO_DECIMALS, tempo_in_figures
from analysis.maps.midi import Marker
from analysis.maps.tempo_map import Segment
from analysis.session.timeline import Timeline

COLUMNS = ("session bar", "song bar", "time", "seconds", "frame", "meter", "beats per minute", "section")
_FREE = "free"


def cue_sheet_text(timeline: Timeline, markers: Sequence[Marker]) -> str:
    """Song bars are those of the tempo map: bar one is 1. `markers` are in the session's bars."""
    marks = {bar: "; ".join(one.text for one in markers if one.bar == bar) for bar in {one.bar for one in markers}}
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\r\n")
    lines.writerow(COLUMNS)
    session_map = timeline.session_map
    for bar in range(1, timeline.bars + 1):
        time_s, segment = session_map.time_of_bar(bar), session_map.segment_at_bar(bar)
        lines.writerow(
            (
                bar,
                bar - timeline.start_bar + 1,
                clock_words(time_s),
                f"{float(time_s):.6f}",
                session_map.frame_of_bar(bar, timeline.sample_rate_hz),
                segment.meter,
                tempo_words(segment),
                marks.get(bar, ""),
            )
        )
    return text.getvalue()


def tempo_words(segment: Segment) -> str:
    """Of the beat that the meter is felt in."""
    if segment.free:
        return _FREE
    return tempo_in_figures(segment.bpm, CUE_SHEET_TEMPO_DECIMALS)


def clock_words(time_s: Fraction) -> str:
    """0:04:17.143"""
    thousandths = round(time_s * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"
