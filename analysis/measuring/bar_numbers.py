"""What a song sounds like in the bars of a reading, as one row of numbers: harmony, strokes and beats by their place.

In the true bars harmony and bass change at the bar line and seldom inside; what is played comes again after one bar and
not after half of it; every other bar begins as the others do; the beats are struck, and divided as the meter divides
them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from analysis.core.samples import Doubles
from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import HARMONY_LATE_S, slot_means
from analysis.form.slots import divided, strokes_on
from analysis.form.song_sound import SongSound
from analysis.maps.tempo_map import MeterSign
from analysis.measuring.eighth_groups import GROUP_NUMBERS, eighth_groups
from analysis.tempo.evidence import Evidence

# All numbers here are house choices. Slots of a bar: harmony needs quarters; strokes halves, thirds and quarters.
_QUARTERS, _SLOTS = 4, 24
# Where a stroke may stand in the bar: its start, quarters and thirds, in slots.
_PLACES = {"0": 0, "1/4": 6, "1/3": 8, "1/2": 12, "2/3": 16, "3/4": 18}
_BANDS = {"low": slice(0, 2), "middle": slice(2, 4), "high": slice(4, None)}
_CHANGE = 0.15
_LEAST_CHANGE, _LEAST_STROKE, _LEAST_SHARE = 0.02, 1e-3, 0.03
_MOST = 4.0
SIGNS = ("4/4", "3/4", "6/8")
_LEAST_WEIGHT = 1e-5
_THIRDS, _SIXTEENTHS = 3, 4

_HARMONY = (
    *(f"changes at {place}/4" for place in range(_QUARTERS)),
    "changes at the line",
    "line over the next",
    "line over the middle",
    "every other line",
    "every other middle",
    "share of lines with a change",
    "changes inside",
)
_AGAIN = (
    "one bar",
    "two bars over one",
    *(f"{name} {part}" for part in ("1/2", "1/3", "1/4") for name in ("after", "bar over")),
)
_STROKES = (
    *(f"strokes at {place}" for place in _PLACES),
    "every other bar",
    "every other line",
    "halves differ",
    "in three",
    "in two",
)
_DIVISION = (
    "beat",
    "second third",
    "last third",
    "second re last third",
    "eighth",
    "sixteenths",
    "thirds re sixteenths",
    "eighth re thirds",
    "eighth re beat",
)
_PLAIN = (
    *(f"{voice} {name}" for voice in ("harmony", "bass") for name in _HARMONY),
    *(f"strokes again {name}" for name in _AGAIN),
    *(f"{band} {name}" for band in _BANDS for name in _STROKES),
    *_DIVISION,
)
# The numbers of a row, in order. How beats are divided and eighths are grouped says something else in 3/4 and 6/8.
NUMBERS = (
    "weight",
    *(f"is {sign}" for sign in SIGNS),
    *_PLAIN,
    *(f"{sign} {name}" for sign, name in product(SIGNS[1:], (*_DIVISION, *GROUP_NUMBERS))),
)


@dataclass(frozen=True, eq=False)
class BarsRead:
    """A song in one of its readings.

    Attributes
    ----------
    place : int or None
        Of the reading in the ranking; None for one that is not in it.
    clock : BarClock
    sign : str
        Of the usual bar.
    beats : int
        Felt in it.
    weight : float
        How likely measuring makes it.
    """

    place: int | None
    clock: BarClock
    sign: str
    beats: int
    weight: float


def bar_numbers(read: BarsRead, music: Evidence, sound: SongSound) -> Doubles:
    """The numbers of a song in some of its bars.

    Parameters
    ----------
    read : BarsRead
        With at least four bars.
    music : Evidence
        The files' pooled evidence.
    sound : SongSound

    Returns
    -------
    float64 array, shape (len(NUMBERS),)
    """
    is_sign = np.array([float(read.sign == sign) for sign in SIGNS])
    division = _division_numbers(read, sound)
    plain = np.concatenate(
        [
            _harmony_numbers(slot_means(music.chroma, music.harmony_s, read.clock, _QUARTERS, late_s=HARMONY_LATE_S)),
            _harmony_numbers(slot_means(music.bass, music.harmony_s, read.clock, _QUARTERS, late_s=HARMONY_LATE_S)),
            _stroke_numbers(_strokes(music, read.clock)),
            division,
        ]
    )
    groups = eighth_groups(read.clock, sound) if is_sign[1:].any() else np.zeros(len(GROUP_NUMBERS))
    own = np.concatenate([division, groups])
    return np.concatenate(
        [
            [np.log(max(read.weight, _LEAST_WEIGHT))],
            is_sign,
            np.clip(plain, -_MOST, _MOST),
            np.outer(is_sign[1:], own).ravel(),
        ]
    )


def _harmony_numbers(rows: Doubles) -> Doubles:
    """As named in `_HARMONY`; `rows` is (n_bars, 4, 12)."""
    rows = rows - rows.mean(axis=2, keepdims=True)
    flat = rows.reshape(-1, rows.shape[2])
    changes = np.concatenate([[0.0], _apart(flat[1:], flat[:-1])]).reshape(-1, _QUARTERS)[1:]
    mean = changes.mean(axis=0)
    usual = mean.mean() + _LEAST_CHANGE
    every_other = np.abs(changes[::2].mean(axis=0) - changes[1::2].mean(axis=0)) / usual
    return np.array(
        [
            *(mean / usual),
            mean[0],
            (mean[0] - mean[1:].max()) / usual,
            (mean[0] - mean[2]) / usual,
            every_other[0],
            every_other[2],
            (changes[:, 0] > _CHANGE).mean(),
            _apart(rows[:, 1], rows[:, 3]).mean(),
        ]
    )


def _apart(one: Doubles, two: Doubles) -> Doubles:
    """Cosine distance, 0 to 1."""
    lengths = np.linalg.norm(one, axis=-1) * np.linalg.norm(two, axis=-1)
    found: Doubles = np.where(lengths > 1e-9, 0.5 - 0.5 * (one * two).sum(axis=-1) / np.maximum(lengths, 1e-9), 0.0)
    return found


def _strokes(music: Evidence, clock: BarClock) -> Doubles:
    """Onset strength in shares of the usual one, compressed: (n_bars, _SLOTS, n_bands)."""
    rows = slot_means(music.strength, music.frame_s, clock, _SLOTS, is_centred=True)
    usual = np.maximum(rows.reshape(-1, rows.shape[-1]).std(axis=0), 1e-9)
    found: Doubles = np.sqrt(np.maximum(rows, 0) / usual)
    return found


def _stroke_numbers(strokes: Doubles) -> Doubles:
    """As named in `_AGAIN`, then by band as in `_STROKES`."""
    bars, slots, _ = strokes.shape
    again = _again(strokes, 1)
    numbers = [again, _again(strokes, 2) - again]
    for parts in (2, 3, 4):
        pieces = strokes.reshape(bars * parts, slots // parts, -1)
        after = _again(pieces, 1)
        numbers += [after, _again(pieces, parts) - after]
    for band in _BANDS.values():
        numbers += _places(strokes[:, :, band].mean(axis=2))
    return np.array(numbers)


def _again(rows: Doubles, lag: int) -> float:
    """How alike rows that are so far apart are, beyond what they all share: -1 to 1."""
    flat = rows.reshape(len(rows), -1)
    flat = flat - flat.mean(axis=0)
    one, two = flat[lag:], flat[:-lag]
    lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(two, axis=1) + 1e-6
    return float(((one * two).sum(axis=1) / lengths).mean())


def _places(strokes: Doubles) -> list[float]:
    """As named in `_STROKES`; `strokes` is (n_bars, _SLOTS)."""
    usual = strokes.mean() + _LEAST_STROKE
    mean = strokes.mean(axis=0) / usual
    every_other = np.abs(strokes[::2].mean(axis=0) - strokes[1::2].mean(axis=0)) / usual
    # Of the six eighths; the first begins the bar in any case.
    _, second, third, fourth, fifth, sixth = mean[:: _SLOTS // 6]
    return [
        *(float(mean[place]) for place in _PLACES.values()),
        float(every_other.mean()),
        float(every_other[0]),
        float(np.abs(mean[: _SLOTS // 2] - mean[_SLOTS // 2 :]).mean()),
        float((third + fifth) / 2 - (second + fourth + sixth) / 3),
        float(fourth - (second + third + fifth + sixth) / 4),
    ]


def _division_numbers(read: BarsRead, sound: SongSound) -> Doubles:
    """As named in `_DIVISION`: how the felt beats are struck and divided."""
    clock = replace(read.clock, signs=(MeterSign(read.beats, 4),) * read.clock.bars)
    beat, second, last = _by_part(clock, sound, _THIRDS)
    _, before, eighth, after = _by_part(clock, sound, _SIXTEENTHS)
    sixteenths = (before + after) / 2

    def log_ratio(one: float, two: float) -> float:
        return float(np.log((one + _LEAST_SHARE) / (two + _LEAST_SHARE)))

    return np.array(
        [
            beat,
            second,
            last,
            log_ratio(second, last),
            eighth,
            sixteenths,
            log_ratio((second + last) / 2, (before + eighth + after) / 3),
            log_ratio(eighth, (second + last) / 2),
            log_ratio(eighth, beat),
        ]
    )


def _by_part(clock: BarClock, sound: SongSound, parts: int) -> Doubles:
    """How strongly the song is struck on each part of its beats, shape (parts,)."""
    struck = strokes_on(divided(clock, range(clock.bars), parts), sound.strength[:, None])
    found: Doubles = struck.reshape(-1, parts).mean(axis=0)
    return found
