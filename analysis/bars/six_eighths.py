"""Evidence that tells bars of six eighths apart: two beats of three (6/8), three of two (3/4), or two fast bars of 3/4.

What each player does on the third and fifth of the six speaks for 3/4, on the fourth for 6/8; what every other bar does
otherwise says that two of them are one.
"""

from __future__ import annotations

import numpy as np

from analysis.bars.bar_evidence import SIGNALS
from analysis.bars.beat_table import BeatTable
from analysis.core.samples import Doubles

# The meters that the evidence is about.
SIGNS = ("3/4", "6/8")
# Slots of a beat on which its eighths fall, and how far an attack may be off its slot, in slots (house choice).
_EIGHTHS = {"3/4": (0, 6), "6/8": (0, 4, 8)}
_REACH = 1
_VOICES = ("attacks", "bass", "low", "middle", "high", "harmony_change", "bass_change")
# Shorter bars than this are short for a bar of three; half of it is as short as they get (house choice).
_SHORT_BAR_S = 1.5
# What keeps a share of nothing finite (house choice).
_LEAST = 1e-3
_NUMBERS = (
    "eighths.all_struck",
    "eighths.second_struck",
    *(f"eighths.in_three.{voice}" for voice in _VOICES),
    *(f"eighths.in_two.{voice}" for voice in _VOICES),
    *(f"eighths.every_other.{signal}" for signal in SIGNALS),
    "eighths.every_other_short",
)
# The columns of `eighth_evidence`, in order.
EIGHTH_COLUMNS = tuple(f"{sign} {name}" for sign in SIGNS for name in _NUMBERS)


def eighth_evidence(table: BeatTable, signals: Doubles, sign: str, beats: int) -> Doubles:
    """How a song plays its bars' eighths, if they are read in one of `SIGNS`.

    Parameters
    ----------
    table : BeatTable
    signals : float64 array, shape (len(SIGNALS), n_beats)
        As `bar_signals` gives them.
    sign : str
        The meter that is tried.
    beats : int
        Felt beats of its bar.

    Returns
    -------
    float64 array, shape (beats, len(EIGHTH_COLUMNS))
        By the beat that begins the bar; the numbers in the place of their meter, 0 in all others.
    """
    found = np.zeros((beats, len(SIGNS), len(_NUMBERS)))
    if sign in SIGNS:
        other = every_other(signals, beats, beats * table.period_s)
        found[:, SIGNS.index(sign)] = np.concatenate([groups_of_eighths(table, sign), other], axis=1)
    return found.reshape(beats, -1)


def groups_of_eighths(table: BeatTable, sign: str) -> Doubles:
    """How far the six eighths of a bar fall into three groups of two, or into two of three.

    Parameters
    ----------
    table : BeatTable
    sign : str
        One of `SIGNS`.

    Returns
    -------
    float64 array, shape (beats of a bar, 2 + 2 * n_voices)
        By the beat that begins the bar: shares of the beats whose other eighths are all struck, and whose second is;
        then by voice, re the mean of all six: the third and fifth less the even ones; the fourth less those between.
        The first eighth, which begins the bar in any case, is left out.
    """
    slots = _EIGHTHS[sign]
    per_beat, beats = len(slots), 6 // len(slots)
    struck = near_slots(table.onsets + table.bass_onsets, slots[1:]) > 0
    eighths = _voices_on(table, slots)
    rows = np.zeros((beats, 2 + 2 * len(_VOICES)))
    rows[:, 0], rows[:, 1] = struck.all(axis=1).mean(), struck[:, 0].mean()
    for bar in range(beats):
        bars = (len(eighths) // per_beat - bar) // beats
        if bars:
            first, second, third, fourth, fifth, sixth = (
                eighths[bar * per_beat : bar * per_beat + 6 * bars].reshape(bars, 6, -1).mean(axis=0)
            )
            mean = (first + second + third + fourth + fifth + sixth) / 6 + _LEAST
            in_three = (third + fifth) / 2 - (second + fourth + sixth) / 3
            in_two = fourth - (second + third + fifth + sixth) / 4
            rows[bar, 2:] = np.concatenate([in_three / mean, in_two / mean])
    return rows


def _voices_on(table: BeatTable, slots: tuple[int, ...]) -> Doubles:
    """What each voice does on each eighth of the song, shape (n_beats * len(slots), n_voices)."""
    strength = table.strength[:, list(slots)]
    columns = [
        near_slots(table.onsets, slots),
        near_slots(table.bass_onsets, slots),
        *(np.log1p(strength[..., low:high].sum(axis=-1)) for low, high in ((0, 2), (2, 4), (4, None))),
        table.harmony_change[:, list(slots)],
        table.bass_change[:, list(slots)],
    ]
    return np.stack([column.ravel() for column in columns], axis=1)


def near_slots(onsets: Doubles, slots: tuple[int, ...]) -> Doubles:
    """The weight on and beside each slot, shape (n_beats, len(slots)); what is early for a beat stands in the last."""
    flat = onsets.ravel()
    beside = flat.copy()
    for shift in range(1, _REACH + 1):
        beside[shift:] += flat[:-shift]
        beside[:-shift] += flat[shift:]
    return beside.reshape(onsets.shape)[:, list(slots)]


def every_other(signals: Doubles, beats: int, bar_s: float) -> Doubles:
    """How differently every other bar begins, beyond what chance gives.

    Parameters
    ----------
    signals : float64 array, shape (len(SIGNALS), n_beats)
    beats : int
        Of a bar.
    bar_s : float
        Its length, seconds.

    Returns
    -------
    float64 array, shape (beats, len(SIGNALS) + 1)
        By the beat that begins the bar: the distance of both means, in spreads; last their sum where bars are short.
    """
    short = float(np.clip(2 - 2 * bar_s / _SHORT_BAR_S, 0, 1))
    rows = np.zeros((beats, len(SIGNALS) + 1))
    for bar in range(beats):
        one, two = signals[:, bar :: 2 * beats], signals[:, bar + beats :: 2 * beats]
        if min(one.shape[1], two.shape[1]) > 1:
            by_chance = one.var(axis=1) / (one.shape[1] - 1) + two.var(axis=1) / (two.shape[1] - 1)
            apart = (one.mean(axis=1) - two.mean(axis=1)) ** 2 - by_chance
            rows[bar, :-1] = np.sqrt(np.maximum(apart, 0.0))
            rows[bar, -1] = short * rows[bar, :-1].sum()
    return rows
