"""What is known of a slot before a bar line before it is called a push or not.

In a push the band strikes the coming bar's chord early, off the pulse, and leaves its bar line out. One stroke in a bar
that is else as usual is hard to tell by strokes alone: the bass of the coming bar says more than any of them.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.form.bar_clock import BarClock
from analysis.form.hit_numbers import usual_beside
from analysis.form.slots import Slots, levels_on, strokes_on
from analysis.form.song_sound import SongSound
from analysis.tempo.evidence import Evidence

# All numbers here are house choices.
_STRIKES = 0.3  # a stroke this strong (1 is a strong one of this player)
# The harmony's window reaches back; a chord has been heard in this share of its bar.
_HARMONY_LATE_S, _CHORD_SHARE = 0.05, 0.22
_SLOTS_BEFORE = 2
_NEIGHBOURS = 4

# In the order in which `push_numbers` gives them: the weights are stored by these names.
PUSH_NUMBERS = (
    "bar line left out",
    "struck by those who strike bar lines",
    "struck by those who leave it out",
    "struck, new",
    "strongest before the bar line",
    "louder than the bar line, beside others",
    "louder than the slot before",
    "louder than usual",
    "harmony of the bar to come",
    "bass of the bar to come",
)


def push_numbers(grid: Slots, sound: SongSound, music: Evidence, clock: BarClock) -> tuple[Doubles, Flags]:
    """Numbers of the slots after each bar's last pulse.

    Parameters
    ----------
    grid : Slots
    sound : SongSound
    music : Evidence
        On the clock's time.
    clock : BarClock

    Returns
    -------
    numbers : float64 array, shape (n_bars, n_slots, n_numbers)
        In the order of `PUSH_NUMBERS`; 0 elsewhere.
    asked : bool array, shape (n_bars, n_slots)
        The slots after the last pulse of bars that another bar of the grid follows.
    """
    asked = np.zeros(grid.times_s.shape, np.bool_)
    for row, slots in _slots_to_ask(grid):
        asked[row, slots] = True
    at = np.nonzero(asked)
    numbers = np.zeros((*asked.shape, len(PUSH_NUMBERS)))
    if asked.any():
        columns = [*_strokes(grid, sound, asked), *_levels(grid, sound), *_harmony(grid, music, clock, asked)]
        numbers[at] = np.stack([column[at] for column in columns], axis=1)
    return np.nan_to_num(numbers), asked


def _slots_to_ask(grid: Slots) -> Iterator[tuple[int, range]]:
    pulse = grid.pulse_slots
    for row, last in enumerate(grid.inside.sum(axis=1)[:-1]):
        if grid.bars[row + 1] == grid.bars[row] + 1:
            yield row, range((int(last) - 1) // pulse * pulse + 1, int(last))


def _next_row(rows: Doubles) -> Doubles:
    return np.concatenate([rows[1:], rows[-1:]])


def _strokes(grid: Slots, sound: SongSound, asked: Flags) -> Iterator[Doubles]:
    struck = strokes_on(grid, sound.struck)
    before, after = usual_beside(struck)
    struck = np.nan_to_num(struck)
    at_line = _next_row(after[:, 0])
    usual = np.nan_to_num(np.where(np.isnan(at_line), before[:, 0], at_line))
    strikes = usual > _STRIKES
    left_out = np.clip(usual - _next_row(struck[:, 0]), 0, 1) * strikes
    strikers = np.maximum(strikes.sum(axis=1), 1)[:, None]
    early, mean = np.minimum(struck, 1), struck.mean(axis=2)
    yield np.broadcast_to(left_out.sum(axis=1)[:, None] / strikers, mean.shape)
    yield (early * strikes[:, None]).sum(axis=2) / strikers
    yield (early * left_out[:, None]).sum(axis=2) / strikers
    yield np.clip(struck - np.nan_to_num(np.fmin(before, after)), 0, 1).mean(axis=2)
    yield (mean >= np.where(asked, mean, 0.0).max(axis=1, keepdims=True)) * 1.0


def _levels(grid: Slots, sound: SongSound) -> Iterator[Doubles]:
    """In decibels."""
    loud, _ = levels_on(grid, sound.level_db)
    over_line = loud - _next_row(loud[:, :1])
    yield over_line - _median_around(over_line, _NEIGHBOURS)
    yield loud - np.roll(loud, 1, axis=1)
    yield loud - _median_around(loud, _NEIGHBOURS - 1)


def _median_around(rows: Doubles, reach: int) -> Doubles:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # a slot that none of these bars has
        found = [np.nanmedian(rows[max(0, row - reach) : row + reach + 1], axis=0) for row in range(len(rows))]
    return np.stack(found)


def _harmony(grid: Slots, music: Evidence, clock: BarClock, asked: Flags) -> Iterator[Doubles]:
    """How much more what sounds from the slot on is like the coming bar than like what was before, from -2 to 2."""
    for chroma in (music.chroma, music.bass):
        sums = np.concatenate([np.zeros((1, chroma.shape[1])), np.cumsum(chroma, axis=0, dtype=np.float64)])
        found = np.zeros(asked.shape)
        for row, slot in np.argwhere(asked):
            start_s, bar = float(grid.times_s[row, slot]), int(grid.bars[row])
            line_s, next_s = clock.downbeats_s[bar + 1 : bar + 3]
            slot_s = (line_s - clock.downbeats_s[bar]) / grid.inside[row].sum()
            early_s = start_s - _SLOTS_BEFORE * slot_s, start_s - _HARMONY_LATE_S
            line_s = line_s + _HARMONY_LATE_S
            parts = (early_s, (start_s + _HARMONY_LATE_S, line_s), (line_s, line_s + _CHORD_SHARE * (next_s - line_s)))
            before, here, coming = (_mean(sums, music.harmony_s, *part) for part in parts)
            found[row, slot] = _likeness(here, coming) - _likeness(here, before)
        yield found


def _mean(sums: Doubles, times_s: Doubles, start_s: float, end_s: float) -> Doubles:
    start, end = np.minimum(np.searchsorted(times_s, (start_s, end_s)), len(sums) - 2)
    end = max(end, start + 1)
    mean: Doubles = (sums[end] - sums[start]) / (end - start)
    return mean


def _likeness(one: Doubles, two: Doubles) -> float:
    one, two = one - one.mean(), two - two.mean()
    size = float(np.sqrt((one @ one) * (two @ two)))
    return float(one @ two) / size if size > 0 else 0.0
