"""Do the strokes keep the map's tempo? Found by the rhythm's own spectrum, counted in beats of the map.

Strokes on the map gather at whole beats, halves, thirds and quarters: their spectrum over beats peaks at 1, 2, 3 and 4
cycles a beat. Played to another tempo, it peaks elsewhere. That the strokes keep the map's tempo is said only when the
peaks at the map's own are clear and as high as any others.

Tested in `tests/analysis/delivery/test_tempo_checks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles
from analysis.maps.tempo_map import TempoMap

# Parts of the beat on which strokes may lie.
_HARMONICS = (1, 2, 3, 4)
# The spectrum is taken from strokes laid on this many places a beat, at this many times the least resolution; tempi
# from 0.5 to 1.8 times the map's are looked at, beyond them halves and doubles repeat (house choices).
_PLACES, _FINER, _SLOWEST, _FASTEST = 32, 8, 0.5, 1.8
# Of random strokes a harmonic's power is 1 on average and passes 14 once in a million (exponential distribution).
_CLEAR_POWER = 14.0
# The map's own tempo must reach this share of the best one's power to be what is played, and another this many times
# the map's to be said (house choices).
_AS_HIGH, _SURELY_OTHER = 0.4, 2.5
# Half or double the best tempo, of this share of its power, may be meant as well (house choice).
_NEARLY_BEST = 0.4
# Half a tempo needs strokes of its own: its first and third harmonic together pass 17 once in a million (two random
# powers: a gamma distribution). It may also be meant where strokes fall on the best tempo's beats alone: its first
# harmonic is then this share of its second (1 without scatter; house choice).
_OWN_POWER, _ON_BEATS_ALONE = 17.0, 0.5
# So near to the map's tempo it is this song played to another one. Any other song is counted as slowly as its strokes
# allow, but no slower than a beat a second (house choices).
_SAME_SONG, _SLOWEST_BPM = 1.1, 60.0
# What counts as the map's own tempo before a slope is fitted (house choice).
_NEAR_TEMPO = 0.02
# Segments that are shorter, or hold fewer strokes, are judged with their neighbours (house choices: in four seconds a
# tempo that is 2 % off is 80 ms late).
_LEAST_CHUNK_S, _LEAST_STROKES = 4.0, 16


@dataclass(frozen=True)
class Stretch:
    """A part of the song under one tempo of the map, or several short ones; times in beats of the map from its start.

    `beats` and `beat_s` have shape (n,), one for each stroke. `inner_s`: where further tempi begin inside it.
    `in_thirds`: whether the meter counts three parts to the beat.
    """

    start_s: float
    end_s: float
    bpm: float
    times_s: Doubles
    beats: Doubles
    beat_s: Doubles
    inner_s: tuple[float, ...] = ()
    in_thirds: bool = False


def stretches(times_s: Doubles, tempo_map: TempoMap) -> list[Stretch]:
    """The strokes by the map's segments; segments that are short or hold few strokes are taken together."""
    if not len(times_s):
        return []
    starts = [-np.inf, *(float(one.time_s) for one in tempo_map.segments[1:]), np.inf]
    found: list[Stretch] = []
    for first, last in _groups(starts, times_s):
        inside = (times_s >= starts[first]) & (times_s < starts[last + 1])
        segment, inner_s = tempo_map.segments[first], tuple(starts[first + 1 : last + 1])
        if inside.sum() >= _LEAST_STROKES:
            placed = times_s[inside], *in_beats(times_s[inside], tempo_map)
            ends = starts[first], starts[last + 1]
            found.append(Stretch(*ends, float(segment.bpm), *placed, inner_s, segment.meter.is_compound))
    return found


def _groups(starts: list[float], times_s: Doubles) -> list[tuple[int, int]]:
    """First and last segment of each stretch."""
    groups: list[tuple[int, int]] = []
    for index in range(len(starts) - 1):
        if groups and not _is_enough(starts, groups[-1], times_s):
            groups[-1] = (groups[-1][0], index)
        else:
            groups.append((index, index))
    if len(groups) > 1 and not _is_enough(starts, groups[-1], times_s):
        groups[-2:] = [(groups[-2][0], groups[-1][1])]
    return groups


def _is_enough(starts: list[float], group: tuple[int, int], times_s: Doubles) -> bool:
    start_s = max(starts[group[0]], float(times_s.min()))
    end_s = min(starts[group[1] + 1], float(times_s.max()))
    count = ((times_s >= start_s) & (times_s < end_s)).sum()
    return bool(end_s - start_s >= _LEAST_CHUNK_S and count >= _LEAST_STROKES)


def in_beats(times_s: Doubles, tempo_map: TempoMap) -> tuple[Doubles, Doubles]:
    """Beats since the first segment's start, and the length of each stroke's beat."""
    segments = tempo_map.segments
    starts, beat_s = (
        np.array([float(value) for value in values])
        for values in ([one.time_s for one in segments], [one.beat_s for one in segments])
    )
    before = np.concatenate([[0.0], np.cumsum(np.diff(starts) / beat_s[:-1])])
    index = np.clip(np.searchsorted(starts, times_s, "right") - 1, 0, None)
    return before[index] + (times_s - starts[index]) / beat_s[index], beat_s[index]


def played_tempo(beats: Doubles, bpm: float, *, in_thirds: bool = False) -> float | None:
    """How many times the map's tempo, `bpm`, strokes at these beats keep; None where they do not say. `in_thirds`: the
    map counts three parts to the beat."""
    centred = beats - beats.mean()
    factors, power, clear = _spectrum(centred)
    own = np.abs(factors - 1) <= _NEAR_TEMPO
    best = int(power.argmax())
    here = int(np.flatnonzero(own)[power[own].argmax()])
    if clear[here] >= _CLEAR_POWER and power[here] >= _AS_HIGH * power[best]:
        return _refined(centred, float(factors[here]))
    if clear[best] < _CLEAR_POWER or power[best] < _SURELY_OTHER * power[here]:
        return None
    return _refined(centred, _counted(centred, _refined(centred, float(factors[best])), bpm, in_thirds=in_thirds))


def _counted(beats: Doubles, best: float, bpm: float, *, in_thirds: bool) -> float:
    """The best tempo, half or double of it, or in thirds: the same strokes can be counted in several ways."""
    at_best, at_half, at_double = (_harmonics(beats, best * ratio) for ratio in (1.0, 0.5, 2.0))
    meant = [best]
    if at_half[0] + at_half[2] >= _OWN_POWER or at_best[0] >= _ON_BEATS_ALONE * at_best[1]:
        meant += [0.5 * best] if at_half.sum() >= _NEARLY_BEST * at_best.sum() else []
    meant += [2 * best] if at_double.sum() >= _NEARLY_BEST * at_best.sum() else []
    meant += _by_thirds(beats, best, in_thirds=in_thirds)
    near = [factor for factor in meant if abs(np.log(factor)) <= np.log(_SAME_SONG)]
    if near:
        return min(near, key=lambda factor: abs(float(np.log(factor))))
    return min((factor for factor in meant if factor * bpm >= _SLOWEST_BPM), default=max(meant))


def _by_thirds(beats: Doubles, best: float, *, in_thirds: bool) -> list[float]:
    """Strokes on thirds of a beat lie on halves of two thirds of it too. The beat is meant that has strokes of its own;
    where the map counts in thirds, that has more of them."""
    at_best = _harmonics(beats, best)
    least = float(at_best[0]) if in_thirds else _CLEAR_POWER
    tried = [(factor, _harmonics(beats, factor)) for factor in (best * 2 / 3, best * 3 / 2)]
    return [factor for factor, power in tried if power[0] >= least and power.sum() >= _NEARLY_BEST * at_best.sum()]


def _harmonics(beats: Doubles, factor: float) -> Doubles:
    """The power at each harmonic of a tempo; of random strokes 1 on average."""
    turns = np.exp(2j * np.pi * factor * np.outer(_HARMONICS, beats))
    power: Doubles = np.abs(turns.sum(axis=1)) ** 2 / len(beats)
    return power


def _spectrum(beats: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """For each tempo factor the power at its harmonics together, and at the strongest of them."""
    first = float(beats.min())
    length = int((float(beats.max()) - first + 1) * _PLACES) * _FINER
    train = np.bincount(np.rint((beats - first) * _PLACES).astype(np.intp), minlength=length).astype(np.float64)
    power = np.abs(np.fft.rfft(train, length)) ** 2 / len(beats)
    per_beat = length / _PLACES  # bins to one cycle a beat
    bins = np.arange(int(_SLOWEST * per_beat), int(_FASTEST * per_beat) + 1)
    # Halves of a bin of the first harmonic are whole bins of the second: look between them as well.
    fine = np.arange(bins[0], bins[-1], 1 / max(_HARMONICS))
    parts = np.stack([power[np.minimum(np.rint(fine * order).astype(int), len(power) - 1)] for order in _HARMONICS])
    return fine / per_beat, parts.sum(axis=0), parts.max(axis=0)


def _refined(beats: Doubles, factor: float) -> float:
    """The factor at which the harmonics are highest, to a thousandth of the spectrum's own step."""
    step = 1 / (max(_HARMONICS) * max(float(np.ptp(beats)), 1.0))
    for _ in range(6):
        tried = factor + step * np.linspace(-1, 1, 9)
        power = [_harmonics(beats, float(one)).sum() for one in tried]
        factor, step = float(tried[int(np.argmax(power))]), step / 4
    return factor
