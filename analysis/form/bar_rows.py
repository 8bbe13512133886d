"""What each bar sounds like, its place inside the bar kept: harmony, bass, strokes and level, slot by slot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles
from analysis.features.bands import BAND_COUNT
from analysis.form.bar_clock import BarClock
from analysis.tempo.evidence import Evidence

# House choices. Slots of a bar: strokes need a sixteenth, in bars of three beats or pulses there are fewer of them;
# harmony and level need a beat.
_SIXTEENTHS, _FEWER, SLOTS = 16, 12, 4
# The harmony's window reaches into the bar before; level counts down to this far under the song's loud moments.
HARMONY_LATE_S = 0.06
_FLOOR_DB = 50.0
_BASS_WEIGHT = 0.7
_LOUD_PERCENTILE = 95
# A player plays in a bar from this far under its own loud bars.
_PLAYS_DB = 24.0


@dataclass(frozen=True)
class BarRows:
    """One row a bar.

    Attributes
    ----------
    harmony, bass : float64 arrays, shape (n_bars, SLOTS, 12)
        Pitch classes from C, each slot with mean 0.
    strokes : float64 array, shape (n_bars, n_slots, n_bands)
        Onset strength in shares of the song's usual one, compressed.
    level_db : float64 array, shape (n_bars, SLOTS, n_bands)
        Level of each band, re the song's loud moments and held at a floor.
    loudness_db : float64 array, shape (n_bars,)
        Of the whole bar.
    players : float64 array, shape (n_bars, n_files)
        How much each file plays, 0 to 1.
    """

    harmony: Doubles
    bass: Doubles
    strokes: Doubles
    level_db: Doubles
    loudness_db: Doubles
    players: Doubles

    @property
    def bars(self) -> int:
        return len(self.loudness_db)


def bar_rows(music: Evidence, file_levels: Sequence[tuple[Doubles, Doubles]], clock: BarClock) -> BarRows:
    """Rows of every bar.

    Parameters
    ----------
    music : Evidence
        On the clock's time.
    file_levels : sequence of (times_s, power)
        Of each file: float64 arrays, shape (n_frames,), seconds and mean square.
    clock : BarClock
        With at least one bar.
    """
    coarse = _edges(clock, SLOTS)
    strokes = slot_means(music.strength, music.frame_s, clock, _stroke_slots(clock), is_centred=True)
    usual = np.maximum(strokes.reshape(-1, strokes.shape[-1]).std(axis=0), 1e-9)
    strokes = np.sqrt(np.maximum(strokes, 0) / usual)
    power = _means(10 ** (music.energy_db / 10), music.frame_s, coarse)
    return BarRows(
        harmony=_centred(slot_means(music.chroma, music.harmony_s, clock, SLOTS, late_s=HARMONY_LATE_S)),
        bass=_BASS_WEIGHT * _centred(slot_means(music.bass, music.harmony_s, clock, SLOTS, late_s=HARMONY_LATE_S)),
        strokes=strokes,
        level_db=_levels(power),
        loudness_db=_decibels(power.sum(axis=2).mean(axis=1)),
        players=_players(file_levels, clock),
    )


def slot_means(
    rows: Doubles, times_s: Doubles, clock: BarClock, slots: int, *, late_s: float = 0.0, is_centred: bool = False
) -> Doubles:
    """The mean of some rows in each slot of each bar.

    Parameters
    ----------
    rows : float64 array, shape (n_frames, n_columns)
    times_s : float64 array, shape (n_frames,)
    clock : BarClock
    slots : int
        Of a bar.
    late_s : float
        Slots are looked at so much later.
    is_centred : bool
        Each slot has its time in its middle, not at its start.

    Returns
    -------
    float64 array, shape (n_bars, slots, n_columns)
    """
    edges = _edges(clock, slots) + late_s
    return _means(rows, times_s, edges - (edges[:, 1:] - edges[:, :-1]).mean() / 2 if is_centred else edges)


def _stroke_slots(clock: BarClock) -> int:
    beats = [sign.beats_per_bar for sign in clock.signs]
    return _FEWER if max(set(beats), key=beats.count) in (2, 3) else _SIXTEENTHS


def _edges(clock: BarClock, slots: int) -> Doubles:
    """Where each slot of each bar begins, and where the bar ends: shape (n_bars, slots + 1)."""
    starts, ends = clock.downbeats_s[:-1, None], clock.downbeats_s[1:, None]
    edges: Doubles = starts + (ends - starts) * np.arange(slots + 1) / slots
    return edges


def _means(rows: Doubles, times_s: Doubles, edges_s: Doubles) -> Doubles:
    """The mean of the rows between edges; a slot without a frame takes the one after its start."""
    sums = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0, dtype=np.float64)])
    at = np.searchsorted(times_s, edges_s)
    low = np.minimum(at[:, :-1], len(rows) - 1)
    high = np.clip(at[:, 1:], low + 1, len(rows))
    means: Doubles = (sums[high] - sums[low]) / (high - low)[:, :, None]
    return means


def _centred(rows: Doubles) -> Doubles:
    centred: Doubles = rows - rows.mean(axis=2, keepdims=True)
    return centred


def _decibels(power: Doubles) -> Doubles:
    decibels: Doubles = 10 * np.log10(power + 1e-12)
    return decibels


def _levels(power: Doubles) -> Doubles:
    level = _decibels(power)
    loud = np.percentile(level.reshape(-1, BAND_COUNT), _LOUD_PERCENTILE, axis=0)
    levels: Doubles = np.clip(level - np.maximum(loud, loud.max() - _FLOOR_DB / 2), -_FLOOR_DB, 6.0)
    return levels


def _players(file_levels: Sequence[tuple[Doubles, Doubles]], clock: BarClock) -> Doubles:
    columns = []
    for times_s, power in file_levels:
        level = _decibels(_means(power[:, None], times_s, _edges(clock, 1))[:, 0, 0])
        loud = float(np.percentile(level, _LOUD_PERCENTILE))
        columns.append(np.clip(1 - (loud - level) / _PLAYS_DB, 0, 1))
    return np.stack(columns, axis=1) if columns else np.zeros((clock.bars, 0))
