"""The picture of a source file, as the page draws it: lowest and highest samples, marks, and the bars over them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from analysis.findings import KIND_BY_CODE
from analysis.tempo_map import TempoMap, TempoMapError
from portal.bookings.models import Song
from portal.intake.errors import NoMapError
from portal.intake.jobs import load_features
from portal.intake.maps import measured_map
from portal.intake.models import SourceFile

MOST_BARS = 2_000
# A thousand steps to each side of the zero line: finer than any screen draws.
DIGITS = 3


def picture_of(source: SourceFile) -> dict[str, Any] | None:
    """None while there is nothing to draw."""
    numbers = source.numbers
    if numbers is None or not source.features_key or not numbers.duration_s or not numbers.sample_rate_hz:
        return None
    tempo_map = map_of_song(source.song)
    return {
        "duration_s": numbers.duration_s,
        "sample_rate_hz": numbers.sample_rate_hz,
        "levels": [level_of(source, numbers.frames or 0)],
        "marks": list(marks_of(source, tempo_map)),
        "grid": {"bars": list(bars_of(tempo_map, numbers.duration_s))},
    }


def level_of(source: SourceFile, frames: int) -> dict[str, Any]:
    pyramid = load_features(source).pyramid.astype(float).round(DIGITS)
    return {
        "frames_per_point": frames / max(1, len(pyramid)),
        "min": pyramid[:, 0].tolist(),
        "max": pyramid[:, 1].tolist(),
    }


def map_of_song(song: Song) -> TempoMap | None:
    """The approved map, else the measured one."""
    approved = song.maps.first()
    check = song.checks.done().first()
    try:
        if approved is not None:
            return TempoMap.from_json(approved.map)
        return TempoMap.from_json(measured_map(check.numbers)) if check else None
    except (NoMapError, TempoMapError):
        return None


def marks_of(source: SourceFile, tempo_map: TempoMap | None) -> Iterator[dict[str, Any]]:
    """Bar one, and the place of every open finding of this file or of the whole song."""
    if tempo_map is not None:
        bar_one_s = float(tempo_map.bar_one_s)
        yield {"time_s": bar_one_s, "end_s": None, "label": "Bar one", "severity": "note"}
    for finding in source.song.findings.open():
        if finding.source_id in (None, source.pk) and finding.place.get("time_s") is not None:
            yield {
                "time_s": finding.place["time_s"],
                "end_s": finding.place.get("end_s"),
                "label": KIND_BY_CODE[finding.code].title,
                "severity": finding.severity,
            }


def bars_of(tempo_map: TempoMap | None, duration_s: float) -> Iterator[dict[str, Any]]:
    if tempo_map is None:
        return
    for bar in range(1, MOST_BARS):
        time_s = float(tempo_map.time_of_bar(bar))
        if time_s >= duration_s:
            return
        yield {"bar": bar, "time_s": time_s, "beats": tempo_map.segment_at_bar(bar).meter.beats_per_bar}
