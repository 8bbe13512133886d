"""Whether the players of a song group the six eighths of its bars in twos or in threes: 3/4 or 6/8.

Each player is held against what players do in either: strike the groups' first eighths, one of those that are not the
bar's first, or all the others. Players keep a pattern for some bars, so that many little answers add up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core.samples import Doubles
from analysis.form.bar_clock import BarClock
from analysis.form.slots import divided, strokes_on
from analysis.form.song_sound import SongSound
from analysis.maps.tempo_map import MeterSign

_EIGHTHS = 6
# Bars that are taken together, how much a pattern must vary to say anything, in shares of a strong stroke, and from
# which difference of likeness on it is clear (house choices).
_BLOCK_BARS, _LEAST_SPREAD, _CLEAR = 4, 0.05, 0.3
_IN_THREES = ((1, 0, 0, 1, 0, 0), (0, 0, 0, 1, 0, 0), (0, 1, 1, 0, 1, 1))
_IN_TWOS = ((1, 0, 1, 0, 1, 0), (0, 0, 1, 0, 1, 0), (0, 0, 1, 0, 0, 0), (0, 0, 0, 0, 1, 0), (0, 1, 0, 1, 0, 1))
GROUP_NUMBERS = ("threes re twos", "clearly threes", "clearly twos")


def eighth_groups(clock: BarClock, sound: SongSound) -> Doubles:
    """How far the eighths go in threes rather than in twos.

    Parameters
    ----------
    clock : BarClock
        With bars of six eighths, most of them.
    sound : SongSound

    Returns
    -------
    float64 array, shape (len(GROUP_NUMBERS),)
        Mean likeness to patterns in threes less that to patterns in twos, -2 to 2; shares of players and bars that are
        clearly in threes, and in twos.
    """
    usual = max(set(clock.signs), key=clock.signs.count)
    bars = [bar for bar, sign in enumerate(clock.signs) if sign == usual]
    eighths = replace(clock, signs=(MeterSign(_EIGHTHS, 8),) * clock.bars)
    struck = strokes_on(divided(eighths, bars, 1), sound.struck)
    blocks = [struck[start : start + _BLOCK_BARS].mean(axis=0) for start in range(0, len(bars), _BLOCK_BARS)]
    patterns = np.concatenate([block.T for block in blocks])
    patterns = patterns[patterns.std(axis=1) > _LEAST_SPREAD]
    if not len(patterns):
        return np.zeros(len(GROUP_NUMBERS))
    apart = _likeness(patterns, _IN_THREES) - _likeness(patterns, _IN_TWOS)
    return np.array([apart.mean(), (apart > _CLEAR).mean(), (apart < -_CLEAR).mean()])


def _likeness(patterns: Doubles, known: tuple[tuple[int, ...], ...]) -> Doubles:
    """The highest correlation of each pattern with one of those that are known."""
    found: Doubles = (_standard(patterns) @ _standard(np.array(known, np.float64)).T).max(axis=1)
    return found


def _standard(rows: Doubles) -> Doubles:
    centred = rows - rows.mean(axis=1, keepdims=True)
    standard: Doubles = centred / np.linalg.norm(centred, axis=1, keepdims=True)
    return standard
