"""The places in a bar where a figure may be struck: sixteenths, or triplets where the song plays those."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles, Flags, Indices
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.form.bar_clock import BarClock
from analysis.form.song_sound import SongSound
from analysis.maps.tempo_map import MeterSign

_SIXTEENTHS, _TRIPLETS = 4, 3  # of a quarter
_COMPOUND_PULSE = 3  # written beats that are felt as one
# How far from its slot a stroke may be, in frames: at most, at least; never further than half a slot (house choices).
_FURTHEST_FRAMES, _NEAREST_FRAMES = 4, 2
LEVEL_FRAMES = 6  # in which a stroke is at its loudest
_EPSILON = 1e-6


@dataclass(frozen=True)
class Slots:
    """The grid of the bars of one note value.

    Attributes
    ----------
    bars : int array, shape (n_bars,)
        Which bars of the song, from 0.
    beats : float64 array, shape (n_slots,)
        From 1, in the meter's written unit, for the longest of the bars.
    times_s : float64 array, shape (n_bars, n_slots)
        NaN past a bar's end.
    on_pulse : bool array, shape (n_slots,)
    pulse_beats : int
        Written beats of a pulse.
    """

    bars: Indices
    beats: Doubles
    times_s: Doubles
    on_pulse: Flags
    pulse_beats: int

    @property
    def inside(self) -> Flags:
        """Which slots are in their bar: bool array, shape (n_bars, n_slots)."""
        return ~np.isnan(self.times_s)

    @property
    def slot_frames(self) -> int:
        """The usual distance of two slots."""
        return max(1, round(float(np.nanmedian(np.diff(self.times_s, axis=1))) * FRAMES_PER_SECOND))

    @property
    def pulse_slots(self) -> int:
        """Slots of a pulse."""
        return round(self.pulse_beats / float(self.beats[1] - self.beats[0]))

    @property
    def at_frame(self) -> Indices:
        """The frame of each slot; 0 past a bar's end."""
        return np.rint(np.nan_to_num(self.times_s) * FRAMES_PER_SECOND).astype(np.intp)


def pulse_beats(sign: MeterSign) -> int:
    """Written beats of the pulse that is felt."""
    return _COMPOUND_PULSE if sign.is_compound else 1


def lay_slots(clock: BarClock, sound: SongSound) -> Iterator[Slots]:
    """One grid for the bars of each note value that the meters count in. Free bars have none."""
    values = Counter(sign.lower for sign, free in zip(clock.signs, clock.free, strict=True) if not free)
    for lower, _ in values.most_common():
        bars = [bar for bar in range(clock.bars) if clock.signs[bar].lower == lower and not clock.free[bar]]
        grids = [divided(clock, bars, parts) for parts in _parts(lower)]
        yield max(grids, key=lambda grid: _off_beat_strength(grid, sound))


def _parts(lower: int) -> list[int]:
    """Into how many parts a written beat may be divided."""
    sixteenths = max(1, _SIXTEENTHS * 4 // lower)
    return [sixteenths] if lower > 4 else [sixteenths, _TRIPLETS * 4 // lower]


def divided(clock: BarClock, bars: Sequence[int], parts: int) -> Slots:
    """The grid of some bars (from 0) whose written beats are divided into so many parts."""
    longest = max(clock.signs[bar].upper for bar in bars)
    beats = 1 + np.arange(longest * parts) / parts
    times = np.full((len(bars), len(beats)), np.nan)
    for row, bar in enumerate(bars):
        inside = beats < clock.signs[bar].upper + 1 - _EPSILON
        times[row, inside] = clock.times_s(bar, beats[inside])
    usual = Counter(clock.signs[bar] for bar in bars).most_common(1)[0][0]
    pulse = pulse_beats(usual)
    from_pulse = (beats - 1) / pulse
    return Slots(np.array(bars), beats, times, np.abs(from_pulse - np.rint(from_pulse)) < _EPSILON, pulse)


def _off_beat_strength(grid: Slots, sound: SongSound) -> float:
    """How strong the song is where this grid divides the written beat."""
    divides = (grid.beats % 1 > _EPSILON) & (grid.beats % 1 < 1 - _EPSILON)
    at = grid.at_frame[:, divides][grid.inside[:, divides]]
    return float(sound.strength[np.minimum(at, sound.frames - 1)].mean()) if len(at) else 0.0


def strokes_on(grid: Slots, struck: Doubles) -> Doubles:
    """The strongest stroke of each player near each slot.

    Parameters
    ----------
    grid : Slots
    struck : float64 array, shape (n_frames, n_players)

    Returns
    -------
    float64 array, shape (n_bars, n_slots, n_players)
        NaN past a bar's end.
    """
    reach = int(np.clip(grid.slot_frames // 2, _NEAREST_FRAMES, _FURTHEST_FRAMES))
    found: Doubles = over_frames(struck, grid.at_frame, range(-reach, reach + 1)).max(axis=0)
    found[~grid.inside] = np.nan
    return found


def levels_on(grid: Slots, level_db: Doubles) -> tuple[Doubles, Doubles]:
    """How loud it gets at each slot, and how quiet before the slot after the next.

    Parameters
    ----------
    grid : Slots
    level_db : float64 array, shape (n_frames,)

    Returns
    -------
    two float64 arrays, shape (n_bars, n_slots)
        NaN past a bar's end.
    """
    loud = over_frames(level_db, grid.at_frame, range(LEVEL_FRAMES)).max(axis=0)
    quiet = over_frames(level_db, grid.at_frame, range(grid.slot_frames // 2, 2 * grid.slot_frames)).min(axis=0)
    return np.where(grid.inside, loud, np.nan), np.where(grid.inside, quiet, np.nan)


def over_frames(rows: Doubles, at: Indices, steps: range) -> Doubles:
    """The rows so many frames from each place, one after the other in a new first axis; held at the ends."""
    return np.stack([rows[np.clip(at + step, 0, len(rows) - 1)] for step in steps])
