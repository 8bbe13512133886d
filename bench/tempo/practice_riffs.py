"""Riffs and sparse figures for practice songs, drawn at random: a meter has to be heard in any of them.

A riff fills a bar with groups of pulses (2+2+3 and the like), strong where a group begins. A sparse figure is a chord
with one to three light notes. Both repeat every bar or two, as a guitarist or a pianist alone would play.
"""

from __future__ import annotations

import numpy as np

from bench.tempo.practice_parts import BASSES, DIRTY, GUITARS, KEYS, PADS, Bar, Part, Style

# Pulses a bar is grouped in (halves of the felt beat; thirds in 6/8 and shuffles; felt beats in 7/8), with odds.
GROUPINGS: dict[str, tuple[tuple[int, ...], ...]] = {
    "4/4": ((2, 2, 2, 2), (2, 2, 2, 2), (4, 4), (3, 3, 2), (3, 2, 3)),
    "3/4": ((2, 2, 2), (2, 2, 2), (6,), (2, 4), (4, 2)),
    "6/8": ((3, 3), (3, 3), (6,)),
    "5/4": ((6, 4), (4, 6), (2, 2, 2, 2, 2), (3, 3, 2, 2), (6, 2, 2)),
    "7/8": ((2, 2, 3), (2, 2, 3), (3, 2, 2), (2, 3, 2), (4, 3), (3, 4)),
}
THIRDS_GROUPING = (3, 3, 3, 3)
RIFF_SHARE, SPARSE_SHARE = 0.35, 0.12
TONES = ("root", "fifth", "octave")
FIGURE_TONES = ("one", "two", "three", "four", "chord")


def draw_parts(rng: np.random.Generator, style: Style) -> list[Part] | None:
    """Two to four parts of a riff song, one or two of a sparse one; None: the song is played in a common style."""
    draw = rng.random()
    if draw < RIFF_SHARE:
        return _riff_parts(rng, style)
    return _sparse_parts(rng, style) if draw < RIFF_SHARE + SPARSE_SHARE else None


def _grouping(rng: np.random.Generator, style: Style) -> tuple[int, ...]:
    if style.thirds and style.beats == len(THIRDS_GROUPING):
        return THIRDS_GROUPING
    choices = GROUPINGS[style.meter]
    return choices[rng.integers(len(choices))]


def _pulse(style: Style) -> float:
    """Felt beats in a pulse."""
    return 1.0 if style.meter == "7/8" else 1 / 3 if style.thirds else 0.5


def _riff_parts(rng: np.random.Generator, style: Style) -> list[Part]:
    grouping, pulse = _grouping(rng, style), _pulse(style)
    riff = tuple(_riff(rng, grouping, pulse, TONES, 92) for _ in range(int(rng.choice([1, 1, 1, 2]))))
    low = DIRTY if rng.random() < 0.5 else GUITARS
    parts = [Part("riff", style.name, low, riff)]
    if rng.random() < 0.6:
        starts = tuple((beat, "root", length, 96) for beat, _, length, _ in _starts(grouping, pulse, "root"))
        parts.append(Part("bass", style.name, BASSES, riff if rng.random() < 0.4 else (list(starts),)))
    if rng.random() < 0.6:
        halves = _halves(grouping)
        parts.append(Part("comp", style.name, KEYS, (_starts(halves, pulse, "chord"),)))
    if rng.random() < 0.3:
        figure = _riff(rng, grouping, pulse, FIGURE_TONES, 74)
        parts.append(Part("arp", style.name, KEYS + GUITARS, (figure,)))
    if rng.random() < 0.25:
        parts.append(Part("pad", style.name, PADS, ([(0.0, "chord", float(style.beats), 62)],)))
    return parts


def _riff(
    rng: np.random.Generator, grouping: tuple[int, ...], pulse: float, tones: tuple[str, ...], velocity: int
) -> Bar:
    """Strong notes where groups begin, and some of the pulses between; always one on the first."""
    density, tone_stays = rng.uniform(0.1, 0.75), rng.random() < 0.4
    bar: Bar = []
    at = 0
    for group in grouping:
        for step in range(group):
            strong = step == 0
            if at + step == 0 or rng.random() < (0.92 if strong else density):
                tone = tones[0] if strong or tone_stays else tones[rng.integers(len(tones))]
                bar.append(((at + step) * pulse, tone, 0.8 * pulse, velocity + (10 if strong else 0)))
        at += group
    return bar


def _halves(grouping: tuple[int, ...]) -> tuple[int, ...]:
    """The bar in one or two parts, broken where a group ends."""
    middle = len(grouping) // 2
    return (sum(grouping[:middle]), sum(grouping[middle:])) if middle else grouping


def _starts(grouping: tuple[int, ...], pulse: float, what: str) -> Bar:
    begins = np.cumsum((0, *grouping[:-1]))
    return [(int(at) * pulse, what, 0.9 * size * pulse, 84) for at, size in zip(begins, grouping, strict=True)]


def _sparse_parts(rng: np.random.Generator, style: Style) -> list[Part]:
    """A chord that holds the bar and few light notes, of which most lie on beats."""
    pulse, beats = _pulse(style), style.beats
    pulses = round(beats / pulse)
    odds = np.array([3.0 if (at * pulse) % 1 == 0 else 1.0 for at in range(1, pulses)])
    count = min(int(rng.integers(1, 4)), pulses - 1)
    places = 1 + rng.choice(pulses - 1, size=count, replace=False, p=odds / odds.sum())
    figure: Bar = [(float(at * pulse), FIGURE_TONES[rng.integers(4)], 0.8, 68) for at in sorted(places)]
    held: Bar = [(0.0, "chord", 0.9 * beats, 72), (0.0, "root", 0.9 * beats, 80)]
    return [Part("comp", style.name, KEYS + GUITARS, (held,)), Part("arp", style.name, KEYS + GUITARS, (figure,))]
