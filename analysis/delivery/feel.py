"""How a take sits against the grid: early or late, how evenly, and whether that changes, by drum and by section.

Describes, never scores: good players sit some milliseconds off a metronome, kick and snare early more than the hat
(Music Perception 28(5), 2011), and a steady distance is a feel. Strokes are compared with the nearest sixteenth, or the
nearest third of the beat where the take swings. Those in free passages of the map are left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np

from analysis.core.errors import FeelError
from analysis.core.samples import Doubles, Flags, Indices
from analysis.delivery.drum_hits import DrumHits, HitMeter
from analysis.delivery.feel_report import FeelReport, FeelSection, Offsets
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap
from analysis.media.reader import open_media

# Sections that are told apart, the fewest strokes that say anything, and that show a trend; the parts of the beat
# (house choices).
_SECTION_BARS = 8
_LEAST_STROKES, _LEAST_FOR_TREND = 4, 16
_DIVISIONS = (4, 3)
# A take swings when thirds of the beat explain its strokes this much better than quarters (house choice).
_SWING_ADVANTAGE = 1.3
# A trend is said when it is this many of its standard errors (house choice). Players wander: errors come from means
# over so many bars.
_SURE_ERRORS, _BLOCK_BARS = 3.0, 2
# What holds two in three of a normal distribution lies this far apart, in standard deviations; strokes further off
# than this share of the part of the beat belong to another figure (house choice).
_TWO_IN_THREE = (0.16, 0.5, 0.84)
_GROUPS = ("low", "middle", "high")


def feel_of_file(path: Path, tempo_map: TempoMap, starts: Sequence[int] = ()) -> FeelReport:
    """How a take sits against a map; as `feel_of`, from its file. Raises UnusableFileError too."""
    with open_media(path) as media:
        meter = HitMeter(media.facts.sample_rate_hz)
        for samples in media.blocks():
            meter.add(samples)
    return feel_of(meter.finish(), tempo_map, starts)


def feel_of(hits: DrumHits, tempo_map: TempoMap, starts: Sequence[int] = ()) -> FeelReport:
    """How a take sits against a map.

    Parameters
    ----------
    hits : DrumHits
        Of the take.
    tempo_map : TempoMap
        In the same time as the take.
    starts : sequence of int, optional
        The bars with which the song's sections begin. Without them every eight bars are one.

    Raises
    ------
    FeelError
        When there is too little to measure, or the map is free wherever the take plays.
    """
    times, bands = _pooled(hits)
    if len(times) < _LEAST_STROKES:
        raise FeelError("there is too little sound in this take to measure")
    kept = in_time(times, tempo_map)
    times, bands = times[kept], bands[kept]
    if len(times) < _LEAST_STROKES:
        raise FeelError("the map is free where this take plays: there is no grid to compare it with")
    bars, beats, beat_s = _positions(times, tempo_map)
    division = _division(beats)
    late = (beats - np.rint(beats * division) / division) * beat_s * 1000
    sections = tuple(
        FeelSection(first, after - first, tuple(_offsets(late, bands, bars, (bars >= first) & (bars < after))))
        for first, after in pairwise(_borders(starts, int(bars.max())))
    )
    return FeelReport(
        division=division,
        overall=tuple(_offsets(late, bands, bars, np.ones(len(late), bool))),
        sections=tuple(section for section in sections if section.offsets),
    )


def _borders(starts: Sequence[int], last_bar: int) -> list[int]:
    """The first bar of each section, and the one after the last."""
    if not starts:
        return list(range(1, last_bar + _SECTION_BARS + 1, _SECTION_BARS))
    return sorted({1, *(start for start in starts if 1 < start <= last_bar), last_bar + 1})


def _pooled(hits: DrumHits) -> tuple[Doubles, Indices]:
    parts = (hits.low_s, hits.middle_s, hits.high_s)
    times = np.concatenate(parts)
    bands = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    order = np.argsort(times, kind="stable")
    return times[order], bands[order]


def _positions(times: Doubles, tempo_map: TempoMap) -> tuple[Indices, Doubles, Doubles]:
    """Bar, beat within it, and the length of the beat, at each time."""
    places = [tempo_map.bar_beat_at(float(time)) for time in times]
    bars = np.array([place.bar for place in places])
    beats = np.array([place.beat for place in places])
    beat_s = np.array([float(tempo_map.segment_at_bar(place.bar).beat_s) for place in places])
    return bars, beats, beat_s


def _division(beats: Doubles) -> int:
    """Sixteenths, unless the strokes lie on thirds clearly better."""
    gathered = [abs(np.exp(2j * np.pi * division * beats).mean()) for division in _DIVISIONS]
    return _DIVISIONS[1] if gathered[1] > _SWING_ADVANTAGE * gathered[0] else _DIVISIONS[0]


def _offsets(late: Doubles, bands: Indices, bars: Indices, wanted: Flags) -> Iterator[Offsets]:
    for index, name in enumerate(_GROUPS):
        mine = wanted & (bands == index)
        if mine.sum() >= _LEAST_STROKES:
            low, middle, high = np.quantile(late[mine], _TWO_IN_THREE)
            spread = float(high - low) / 2
            # The median of a normal distribution is 1.25 times as uncertain as its mean.
            error = 1.25 * spread / float(np.sqrt(mine.sum()))
            trend = _trend_ms(late[mine], bars[mine], float(middle), spread)
            yield Offsets(name, int(mine.sum()), round(float(middle), 2), round(spread, 2), trend, round(error, 2))


def _trend_ms(late: Doubles, bars: Indices, middle: float, spread: float) -> float | None:
    """From the first bar to the last, by least squares over what lies near the middle; None where it is not sure."""
    near = np.abs(late - middle) <= 4 * spread
    if near.sum() < _LEAST_FOR_TREND or np.ptp(bars[near]) < _SECTION_BARS:
        return None
    late, bar = late[near], bars[near].astype(np.float64)
    centred = bar - bar.mean()
    slope, level = np.polyfit(centred, late, 1)
    rest = late - level - slope * centred
    sums = np.bincount(((bar - bar[0]) // _BLOCK_BARS).astype(np.intp), centred * rest)
    single = float((rest**2).mean() * (centred**2).sum())
    error = float(np.sqrt(max(float((sums**2).sum()), single))) / float((centred**2).sum())
    return round(float(slope * np.ptp(bar)), 1) if abs(slope) > _SURE_ERRORS * error else None
