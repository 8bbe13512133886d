"""The other ways to read a song, as a person would say them: "half", "double", "one beat later"."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from analysis.bars.ranking import SAME_TEMPO, Ranking, same_bars
from analysis.bars.readings import Reading
from analysis.core.reports import Alternative

# Other tempi that are offered at most, how likely one must be, and how likely other bars must be (house choices).
_MOST_TEMPI = 5
_LEAST_WEIGHT = 0.0005
_LIKELY_SHIFT = 0.08
# Half a unit of the last is 0.03 ms after ten minutes at 120.
_BPM_DIGITS = 5
_ALWAYS = ("half", "double")
# What a ratio of two tempi is called.
_LABELS = (
    (0.5, "half"),
    (2.0, "double"),
    (2 / 3, "two thirds"),
    (1.5, "three halves"),
    (1 / 3, "a third"),
    (3.0, "triple"),
)


def alternatives(ranking: Ranking, bar_one_s: float) -> tuple[Alternative, ...]:
    """Other tempi with the bars that go best with each, then the same tempo with other bars; the likeliest first.

    Half, double, and bar one a beat later or earlier are always there to pick, however unlikely. Times are on the clock
    on which the readings were found; each bar one is the one nearest to the song's own.
    """
    found = _other_tempi(ranking, bar_one_s)
    found += _missing_levels(ranking, found, bar_one_s)
    found += _other_bars(ranking, bar_one_s)
    return tuple(sorted(found, key=lambda other: -other.weight))


def _other_tempi(ranking: Ranking, bar_one_s: float) -> list[Alternative]:
    found: list[Alternative] = []
    for reading in ranking.readings:
        if ranking.has_best_tempo(reading) or any(abs(reading.bpm / other.bpm - 1) < SAME_TEMPO for other in found):
            continue
        weight = ranking.share(lambda other, at=reading: abs(other.bpm / at.bpm - 1) < SAME_TEMPO)  # type: ignore[misc]
        bar_s = _nearest(reading.bar_s, reading.period_s * reading.meter.beats, bar_one_s)
        found.append(_alternative(reading, weight, tempo_label(reading.bpm / ranking.best.bpm), bar_s))
    found.sort(key=lambda other: -other.weight)
    return [other for other in found[:_MOST_TEMPI] if other.weight >= _LEAST_WEIGHT]


def _missing_levels(ranking: Ranking, found: list[Alternative], bar_one_s: float) -> list[Alternative]:
    """Half and double where nothing worth a bar of its own was found at them: with the song's own bars."""
    labels = {other.label for other in found}
    return [
        _alternative(replace(ranking.best, period_s=ranking.best.period_s / ratio), 0.0, label, bar_one_s)
        for ratio, label in _LABELS
        if label in _ALWAYS and label not in labels
    ]


def _other_bars(ranking: Ranking, bar_one_s: float) -> list[Alternative]:
    """The likeliest other bars where they are likely, and a beat later and earlier."""
    best, found = ranking.best, {}
    for reading, weight in zip(ranking.readings, ranking.probability, strict=True):
        if ranking.has_best_tempo(reading) and not ranking.has_best_bars(reading):
            if weight > _LIKELY_SHIFT:
                bar_s = _nearest(reading.bar_s, reading.period_s * reading.meter.beats, bar_one_s)
                label = bar_label(best, reading)
                found[label] = _alternative(reading, float(weight), label, bar_s)
            break
    for beats in (1, -1):
        shifted = replace(best, bar_s=best.bar_s + beats * best.period_s)
        at_s = bar_one_s + beats * best.period_s
        if at_s < 0:
            at_s += best.period_s * best.meter.beats
        label = bar_label(best, shifted)
        weight = ranking.share(lambda other, at=shifted: same_bars(other, at))  # type: ignore[misc]
        if label not in found:
            found[label] = _alternative(shifted, weight, label, at_s)
    return list(found.values())


def _nearest(bar_s: float, length_s: float, bar_one_s: float) -> float:
    """The bar line nearest to bar one, in bars of this length; not before the files start."""
    near_s = bar_s + round((bar_one_s - bar_s) / length_s) * length_s
    return near_s if near_s >= 0 else near_s + length_s


def _alternative(reading: Reading, weight: float, label: str, bar_one_s: float) -> Alternative:
    return Alternative(
        bpm=round(reading.bpm, _BPM_DIGITS),
        weight=round(weight, 4),
        meter=reading.meter.sign,
        bar_one_s=round(bar_one_s, 6),
        label=label,
    )


def at_levels_of(others: Iterable[Alternative], bpm: float) -> tuple[Alternative, ...]:
    """The same alternatives, their tempi exact levels of the tempo that was chosen, so that all say one decimal."""
    return tuple(replace(other, bpm=round(bpm * _level_of(other.bpm / bpm), _BPM_DIGITS)) for other in others)


def _level_of(ratio: float) -> float:
    """The level that a ratio of two tempi means; itself where it is none."""
    return next(
        (level for level in (1.0, *(value for value, _ in _LABELS)) if abs(ratio / level - 1) < SAME_TEMPO), ratio
    )


def tempo_label(ratio: float) -> str:
    return next((label for value, label in _LABELS if abs(ratio / value - 1) < SAME_TEMPO), "")


def bar_label(best: Reading, other: Reading) -> str:
    """How far its bars lie after the best reading's, in beats; a different meter is named instead."""
    if other.meter != best.meter:
        return other.meter.sign
    beats = (other.bar_s - best.bar_s) / best.period_s % best.meter.beats
    whole = round(2 * beats) / 2
    words = {best.meter.beats - 1.0: "one beat earlier", 0.5: "half a beat later", 1.0: "one beat later"}
    return words.get(whole, f"{whole:g} beats later")
