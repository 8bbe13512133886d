"""The readings of a song that are worth laying out: one for each way to draw its bars, in each meter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.bars.ranking import SAME_TEMPO, Ranking
from analysis.bars.readings import Reading

# House choices. So many likely ones at most; and of the pulses of the likeliest, so many readings in each meter that a
# song is often taken for, however unlikely they are.
_MOST_LIKELY, _LEAST_WEIGHT = 8, 2e-4
_PULSES, _IN_METER = 3, {"4/4": 2, "3/4": 1, "6/8": 1}
# Bar lines this near are the same.
_SAME_BAR_S = 0.05


@dataclass
class WeighedReading:
    """The likeliest of the readings with the same bars and meter, its place in the ranking, and the weight of all."""

    place: int
    reading: Reading
    weight: float


def readings_in_question(ranking: Ranking) -> list[WeighedReading]:
    """One reading for each set of bars that is likely or often mistaken, the likeliest first."""
    groups = _groups(ranking)
    likely = [group for group in groups[:_MOST_LIKELY] if group.weight >= _LEAST_WEIGHT]
    asked = {group.place for group in (*likely, *_on_likely_pulses(groups))}
    return [group for group in groups if group.place in asked]


def _groups(ranking: Ranking) -> list[WeighedReading]:
    groups: list[WeighedReading] = []
    for place, (reading, weight) in enumerate(zip(ranking.readings, ranking.probability, strict=True)):
        same = next((group for group in groups if _same_bars(group.reading, reading)), None)
        if same is None:
            groups.append(WeighedReading(place, reading, float(weight)))
        else:
            same.weight += float(weight)
    return sorted(groups, key=lambda group: -group.weight)


def _same_bars(one: Reading, other: Reading) -> bool:
    one_s, other_s = one.period_s * one.meter.beats, other.period_s * other.meter.beats
    if one.meter != other.meter or abs(other_s / one_s - 1) > SAME_TEMPO:
        return False
    apart = ((other.bar_s - one.bar_s) / one_s + 0.5) % 1 - 0.5
    return abs(apart) * one_s < _SAME_BAR_S


def _on_likely_pulses(groups: list[WeighedReading]) -> Iterator[WeighedReading]:
    pulses: list[Reading] = []
    for group in groups:
        if len(pulses) < _PULSES and not any(_same_pulse(group.reading, pulse) for pulse in pulses):
            pulses.append(group.reading)
    for pulse in pulses:
        left = dict(_IN_METER)
        for group in groups:
            sign = group.reading.meter.sign
            if left.get(sign) and _same_pulse(group.reading, pulse):
                left[sign] -= 1
                yield group


def _same_pulse(one: Reading, other: Reading) -> bool:
    return one.fit == other.fit and one.beat_s == other.beat_s
