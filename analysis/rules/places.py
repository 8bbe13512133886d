"""Places of findings in bars and beats, as soon as the song has a grid: that is how musicians find them."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable

from analysis.core.reports import Finding, Place, SongMeasures
from analysis.core.sentences import fill
from analysis.findings.catalogue import KIND_BY_CODE
from analysis.maps.tempo_map import TempoMap


def with_bars(findings: Iterable[Finding], song: SongMeasures) -> tuple[Finding, ...]:
    """The same findings, those that have a time with their bar and beat (1 is the first of a bar), and said again."""
    if not song.tempo_map:
        return tuple(findings)
    tempo_map = TempoMap.from_segments(song.tempo_map)
    return tuple(_with_bar(finding, tempo_map) for finding in findings)


def in_bars(place: Place, tempo_map: TempoMap) -> Place:
    """The same place with its bar and beat, in a free passage with its bar alone. Before bar one nobody counts bars:
    there the time says it."""
    if place.time_s is None or place.bar is not None:
        return place
    at = tempo_map.bar_beat_at(place.time_s)
    if at.bar < 1:
        return place
    if tempo_map.is_free_at(place.time_s):
        return dataclasses.replace(place, bar=at.bar)
    # A quarter of a beat is as near as anyone counts; rounded down, so that it stays within its bar.
    return dataclasses.replace(place, bar=at.bar, beat=math.floor(at.beat * 4.0) / 4.0 + 1.0)


def _with_bar(finding: Finding, tempo_map: TempoMap) -> Finding:
    place = in_bars(finding.place, tempo_map)
    if place == finding.place:
        return finding
    sentence = KIND_BY_CODE[finding.code].drummer_sentence
    message = fill(sentence, file=finding.file, place=place, value=finding.value)
    return dataclasses.replace(finding, place=place, message=message)
