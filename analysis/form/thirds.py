"""Whether quarters that were measured are played in thirds throughout: then the chart is written in 12/8, not in 4/4.

Measuring tells the beats that are felt, and four of them are a bar in both. A shuffle strikes the last third of its
beats and leaves out the middle one; 12/8 has all three.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.core.samples import Doubles
from analysis.form.bar_clock import BarClock
from analysis.form.slots import divided, strokes_on
from analysis.form.song_sound import SongSound
from analysis.maps.tempo_map import MeterSign

# The strength of strokes by part of the beat: of the middle third re the last, and of both thirds re the sixteenths off
# the beat. In 97 songs of `bench.form` in four beats, none of them in the set that is reported, the second is
# 1.2 or more in 12/8. Where it is so in a shuffle, the first is .49 or less; in 12/8 it is .62 or more in all but one.
_LEAST_MIDDLE, _LEAST_RE_STRAIGHT = 0.55, 1.18
_THIRDS, _SIXTEENTHS = 3, 4
_QUARTER = 4


def written_in_thirds(clock: BarClock, sound: SongSound) -> BarClock:
    """The clock with its bars of quarters as bars of three times as many eighths, where the song plays all thirds.

    Parameters
    ----------
    clock : BarClock
        As measured; bars that somebody gave a meter are left as they are by not asking.
    sound : SongSound
    """
    if any(sign.lower != _QUARTER for sign in clock.signs) or not _plays_thirds(clock, sound):
        return clock
    return replace(clock, signs=tuple(MeterSign(_THIRDS * sign.upper, 2 * _QUARTER) for sign in clock.signs))


def _plays_thirds(clock: BarClock, sound: SongSound) -> bool:
    _, middle, last = _strokes_by_part(clock, sound, _THIRDS)
    straight = _strokes_by_part(clock, sound, _SIXTEENTHS)[1:].mean()
    return bool(middle > _LEAST_MIDDLE * last and (middle + last) / 2 > _LEAST_RE_STRAIGHT * straight)


def _strokes_by_part(clock: BarClock, sound: SongSound, parts: int) -> Doubles:
    """How strongly the song is struck on each part of its beats, shape (parts,), in shares of a strong stroke."""
    grid = divided(clock, range(clock.bars), parts)
    struck = strokes_on(grid, sound.strength[:, None])[..., 0]
    found: Doubles = np.nanmean(struck.reshape(len(grid.bars), -1, parts), axis=(0, 1))
    return found
