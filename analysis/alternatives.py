"""The other ways to read a song, as a person would say them: "half", "double", "one beat later"."""

from __future__ import annotations

from analysis.heard import SAME_TEMPO, Heard
from analysis.readings import Reading
from analysis.reports import Alternative

MOST_TEMPI = 5
LEAST_WEIGHT = 0.0005
LIKELY_SHIFT = 0.08
LABELS = (
    (0.5, "half"),
    (2.0, "double"),
    (2 / 3, "two thirds"),
    (1.5, "three halves"),
    (1 / 3, "a third"),
    (3.0, "triple"),
)


def alternatives(heard: Heard) -> tuple[Alternative, ...]:
    """Other tempi with the bars that go best with each, then the same tempo with other bars where that is likely."""
    found: list[Alternative] = []
    for reading in heard.readings:
        if heard.has_best_tempo(reading) or any(abs(reading.bpm / other.bpm - 1) < SAME_TEMPO for other in found):
            continue
        weight = heard.share(lambda other, at=reading: abs(other.bpm / at.bpm - 1) < SAME_TEMPO)  # type: ignore[misc]
        found.append(_alternative(reading, weight, tempo_label(reading.bpm / heard.best.bpm)))
    found.sort(key=lambda other: -other.weight)
    found = [other for other in found[:MOST_TEMPI] if other.weight >= LEAST_WEIGHT]
    return tuple(sorted([*found, *_other_bars(heard)], key=lambda other: -other.weight))


def _other_bars(heard: Heard) -> list[Alternative]:
    for reading, weight in zip(heard.readings, heard.probability, strict=True):
        if heard.has_best_tempo(reading) and not heard.has_best_bars(reading):
            return (
                [_alternative(reading, float(weight), bar_label(heard.best, reading))] if weight > LIKELY_SHIFT else []
            )
    return []


def _alternative(reading: Reading, weight: float, label: str) -> Alternative:
    return Alternative(
        bpm=round(reading.bpm, 3),
        weight=round(weight, 4),
        beats_per_bar=reading.meter.beats,
        bar_one_s=round(reading.bar_s, 6),
        label=label,
    )


def tempo_label(ratio: float) -> str:
    return next((label for value, label in LABELS if abs(ratio / value - 1) < SAME_TEMPO), "")


def bar_label(best: Reading, other: Reading) -> str:
    """How far its bars lie after the best reading's, in beats; a different meter is named instead."""
    if other.meter != best.meter:
        return other.meter.sign
    beats = (other.bar_s - best.bar_s) / best.period_s % best.meter.beats
    whole = round(2 * beats) / 2
    words = {0.5: "half a beat later", 1.0: "one beat later"}
    return words.get(whole, f"{whole:g} beats later")
