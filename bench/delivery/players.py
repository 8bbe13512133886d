"""Who plays what, and how humanly: strokes with the time at which the stick lands.

Patterns count eighths or sixteenths of the bar's beats from 0. All of them, and the players' habits, are house choices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.maps.tempo_map import TempoMap

# (place in the bar in beats, hardness) for each drum.
Pattern = dict[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True)
class Stroke:
    """`due_s`: where the map has it; `time_s`: where the stick lands."""

    drum: str
    time_s: float
    due_s: float
    bar: int
    hardness: float


@dataclass(frozen=True)
class Player:
    """`late_ms`: where this player sits, and drum by drum on top of it; `spread_ms`: standard deviation from stroke to
    stroke, of which `shared` is common to what falls together; `trend_ms`: how much later the end is than the start;
    `swing`: where an off-beat eighth lies in its beat (0.5 straight, 0.667 triplets)."""

    name: str = "even"
    late_ms: float = 0.0
    drum_ms: dict[str, float] | None = None
    spread_ms: float = 6.0
    shared: float = 0.3
    trend_ms: float = 0.0
    swing: float = 0.5
    hardness: float = 1.0
    brush: bool = False
    fills: bool = True


def _every(step: float, beats: float, hardness: float, start: float = 0.0) -> tuple[tuple[float, float], ...]:
    places = np.arange(start, beats - 1e-6, step)
    return tuple((float(place), hardness if place % 1 == 0 else 0.7 * hardness) for place in places)


PATTERNS: dict[str, Pattern] = {
    "rock": {
        "kick": ((0, 0.9), (1.5, 0.6), (2, 0.85)),
        "snare": ((1, 0.9), (3, 0.95)),
        "hat": _every(0.5, 4, 0.7),
    },
    "ghosts": {
        "kick": ((0, 0.9), (0.75, 0.6), (2.5, 0.85)),
        "snare": ((1, 0.9), (3, 0.95), (1.75, 0.18), (2.25, 0.15), (3.75, 0.2)),
        "hat": _every(0.25, 4, 0.55),
    },
    "half": {
        "kick": ((0, 0.95), (1.5, 0.6), (3.5, 0.5)),
        "snare": ((2, 0.95),),
        "ride": _every(1, 4, 0.7),
    },
    "swing": {
        "kick": ((0, 0.5), (2, 0.45)),
        "snare": ((1.5, 0.25), (3, 0.35)),
        "ride": ((0, 0.7), (1, 0.75), (1.5, 0.5), (2, 0.7), (3, 0.75), (3.5, 0.5)),
        "hat": ((1, 0.45), (3, 0.45)),
    },
    "brushes": {
        "kick": ((0, 0.25), (2, 0.22)),
        "snare": ((0, 0.3), (1, 0.5), (1.5, 0.25), (2, 0.3), (3, 0.5), (3.5, 0.25)),
        "hat": ((1, 0.35), (3, 0.35)),
    },
    "sparse": {"kick": ((0, 0.8),), "snare": ((2, 0.7),), "hat": ((1, 0.3), (3, 0.3))},
    "toms": {
        "kick": ((0, 0.9), (2, 0.9)),
        "floor1": ((0, 0.7), (0.5, 0.5), (1.5, 0.6), (2, 0.7), (2.5, 0.5)),
        "tom1": ((1, 0.7), (3.5, 0.6)),
        "snare": ((3, 0.9),),
    },
    "waltz": {"kick": ((0, 0.85),), "snare": ((1, 0.55), (2, 0.6)), "hat": _every(0.5, 3, 0.6)},
    "five": {
        "kick": ((0, 0.9), (2.5, 0.7), (3, 0.85)),
        "snare": ((1, 0.8), (4, 0.9)),
        "ride": _every(1, 5, 0.7),
    },
    "six": {
        "kick": ((0, 0.9), (5 / 3, 0.5)),
        "snare": ((1, 0.9),),
        "hat": tuple((float(place), 0.7 if place % 1 == 0 else 0.5) for place in np.arange(6) / 3),
    },
    "seven": {
        "kick": ((0, 0.9), (4, 0.85)),
        "snare": ((2, 0.85), (6, 0.9)),
        "hat": _every(1, 7, 0.6),
    },
}
_FILL = ("snare", "tom1", "tom2", "floor1")
_FILL_BARS = 4
# A player drifts about by this share of the spread, over this many bars.
_WANDER, _WANDER_BARS = 0.35, 6


def play(
    tempo_map: TempoMap, bars: int, pattern: str, player: Player, rng: np.random.Generator, *, drums: set[str]
) -> list[Stroke]:
    """A take: bars 1 to `bars`, a fill every fourth, a crash after it, and a last stroke that rings."""
    wander = _wander(bars, player, rng)
    strokes: list[Stroke] = []
    for bar in range(1, bars + 1):
        for place, parts in _bar_of(bar, bars, tempo_map, pattern, player).items():
            shared_ms = rng.normal(0, player.spread_ms * np.sqrt(player.shared))
            for drum, hardness in parts:
                if drum not in drums:
                    continue
                due_s = float(tempo_map.time_of_bar(bar, place))
                late_ms = player.late_ms + (player.drum_ms or {}).get(drum, 0.0) + wander[bar - 1] + shared_ms
                late_ms += rng.normal(0, player.spread_ms * np.sqrt(1 - player.shared))
                late_ms += player.trend_ms * ((bar - 1) / max(1, bars - 1) - 0.5)
                hard = float(np.clip(hardness * player.hardness * rng.normal(1, 0.08), 0.03, 1.0))
                strokes.append(Stroke(drum, due_s + late_ms / 1000, due_s, bar, hard))
    return sorted(strokes, key=lambda stroke: stroke.time_s)


def _wander(bars: int, player: Player, rng: np.random.Generator) -> list[float]:
    steps = rng.normal(0, 1, bars + _WANDER_BARS)
    smooth = np.convolve(steps, np.ones(_WANDER_BARS) / np.sqrt(_WANDER_BARS), "valid")[:bars]
    return [float(value) for value in smooth * player.spread_ms * _WANDER]


def _bar_of(
    bar: int, bars: int, tempo_map: TempoMap, pattern: str, player: Player
) -> dict[float, list[tuple[str, float]]]:
    """What falls on each place of a bar; swung where the player swings."""
    beats = tempo_map.segment_at_bar(bar).meter.beats_per_bar
    if bar == bars:
        return {0.0: [("kick", 0.9), ("crash", 0.8)]}
    fill_from = beats - 1.0 if player.fills and bar % _FILL_BARS == 0 else float(beats)
    found: dict[float, list[tuple[str, float]]] = {}
    for drum, places in PATTERNS[pattern].items():
        for place, hardness in places:
            if place < fill_from - 1e-6:
                found.setdefault(_swung(place, player.swing), []).append((drum, hardness))
    for order, drum in enumerate(_FILL if fill_from < beats else ()):
        found.setdefault(_swung(fill_from + order / 4, 0.5), []).append((drum, 0.75))
    if player.fills and bar % _FILL_BARS == 1:
        found.setdefault(0.0, []).append(("crash", 0.7))
    return found


def _swung(place: float, swing: float) -> float:
    return place - 0.5 + swing if abs(place % 1 - 0.5) < 1e-6 else place
