"""How a take sits against the grid: early or late, and how evenly, by drum band and by section.

Describes, never scores: good players sit some milliseconds off a metronome, kick and snare early more than the hat
(Music Perception 28(5), 2011), and a steady distance is a feel. Attacks are compared with the nearest sixteenth, or the
nearest third of the beat where the take swings. Those in free passages of the map are left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analysis.core.errors import FeelError
from analysis.core.reports import Record
from analysis.core.samples import Doubles, Flags, Indices
from analysis.features.attacks import attacks_of
from analysis.features.bands import BAND_EDGES_HZ
from analysis.features.feature_arrays import Features
from analysis.features.strokes import struck_at
from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap

# Sections that are told apart, the fewest attacks that say anything, and the parts of the beat (house choices).
_SECTION_BARS = 8
_LEAST_ATTACKS = 4
_DIVISIONS = (4, 3)
# A take swings when thirds of the beat explain its attacks this much better than quarters (house choice).
_SWING_ADVANTAGE = 1.3
# Groups of the spectrum's bands, low to high: kick and low toms, snare and toms, cymbals.
_GROUPS = (("low", 0, 2), ("middle", 2, 4), ("high", 4, len(BAND_EDGES_HZ) - 1))


@dataclass(frozen=True)
class Offsets(Record):
    """Distance from the grid over some attacks: median (late is positive) and the spread that holds two in three."""

    band: str
    attacks: int
    median_ms: float
    spread_ms: float


@dataclass(frozen=True)
class FeelSection(Record):
    start_bar: int
    bars: int
    offsets: tuple[Offsets, ...]


@dataclass(frozen=True)
class FeelReport(Record):
    """`division`: the part of the beat that attacks were compared with (4: sixteenths of a quarter beat, 3: thirds)."""

    division: int
    overall: tuple[Offsets, ...]
    sections: tuple[FeelSection, ...]


def feel_of(features: Features, tempo_map: TempoMap) -> FeelReport:
    """How a take sits against a map.

    Parameters
    ----------
    features : Features
        Of the take.
    tempo_map : TempoMap
        In the same time as the take.

    Raises
    ------
    FeelError
        When there is too little to measure, or the map is free wherever the take plays.
    """
    attacks = attacks_of(features)
    found = attacks.times_s[~attacks.is_bass]
    if len(found) < _LEAST_ATTACKS:
        raise FeelError("there is too little sound in this take to measure")
    found = found[in_time(found, tempo_map)]
    if len(found) < _LEAST_ATTACKS:
        raise FeelError("the map is free where this take plays: there is no grid to compare it with")
    times = struck_at(features, found)
    bars, beats, beat_s = _positions(times, tempo_map)
    division = _division(beats)
    late = (beats - np.rint(beats * division) / division) * beat_s * 1000
    bands = _bands(features, times)
    sections = tuple(
        FeelSection(
            first, _SECTION_BARS, tuple(_offsets(late, bands, (bars >= first) & (bars < first + _SECTION_BARS)))
        )
        for first in range(1, int(bars.max()) + 1, _SECTION_BARS)
    )
    return FeelReport(
        division=division,
        overall=tuple(_offsets(late, bands, np.ones(len(late), bool))),
        sections=tuple(section for section in sections if section.offsets),
    )


def _positions(times: Doubles, tempo_map: TempoMap) -> tuple[Doubles, Doubles, Doubles]:
    """Bar, beat within it, and the length of the beat, at each time."""
    places = [tempo_map.bar_beat_at(float(time)) for time in times]
    bars = np.array([place.bar for place in places])
    beats = np.array([place.beat for place in places])
    beat_s = np.array([float(tempo_map.segment_at_bar(place.bar).beat_s) for place in places])
    return bars, beats, beat_s


def _division(beats: Doubles) -> int:
    """Sixteenths, unless the attacks lie on thirds clearly better."""
    gathered = [abs(np.exp(2j * np.pi * division * beats).mean()) for division in _DIVISIONS]
    return _DIVISIONS[1] if gathered[1] > _SWING_ADVANTAGE * gathered[0] else _DIVISIONS[0]


def _bands(features: Features, times: Doubles) -> Indices:
    """Which group of bands rises most at each attack, each group measured in its own usual rise."""
    frames = np.clip(np.rint(times * features.band_rate_hz).astype(np.intp), 1, len(features.onset_strength) - 2)
    rise = np.max([features.onset_strength[frames + shift] for shift in (-1, 0, 1)], axis=0)
    groups = np.stack([rise[:, low:high].sum(axis=1) for _, low, high in _GROUPS], axis=1)
    found: Indices = (groups / (np.quantile(groups, 0.9, axis=0) + 1e-9)).argmax(axis=1)
    return found


def _offsets(late: Doubles, bands: Indices, wanted: Flags) -> Iterator[Offsets]:
    for index, (name, _, _) in enumerate(_GROUPS):
        mine = late[wanted & (bands == index)]
        if len(mine) >= _LEAST_ATTACKS:
            low, middle, high = np.quantile(mine, [0.16, 0.5, 0.84])
            yield Offsets(name, len(mine), round(float(middle), 2), round(float(high - low) / 2, 2))
