"""A song's bars as a clock: where each bar begins, its meter, and the time of any beat in it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby
from typing import Self

import numpy as np

from analysis.core.chart_draft import MeterChange
from analysis.core.reports import SongMeasures
from analysis.core.samples import Doubles, Flags
from analysis.maps.tempo_map import MeterSign, TempoMap

_UNKNOWN_METER = MeterSign(4, 4)
# Longer than any song (house choice).
_MOST_BARS = 5_000


@dataclass(frozen=True)
class BarClock:
    """Bars from bar one on; here they are counted from 0.

    Attributes
    ----------
    downbeats_s : float64 array, shape (n_bars + 1,)
        Seconds: where each bar begins, and the end of the last.
    signs : tuple of MeterSign, one a bar
    free : bool array, shape (n_bars,)
        Nobody keeps a beat in it.
    """

    downbeats_s: Doubles
    signs: tuple[MeterSign, ...]
    free: Flags

    @classmethod
    def from_song(cls, song: SongMeasures) -> Self | None:
        """The bars that were measured; None for a song without."""
        if len(song.downbeats_s) < 2 or not song.tempo_map:
            return None
        bars = len(song.downbeats_s) - 1
        return cls._on_map(TempoMap.from_segments(song.tempo_map), np.array(song.downbeats_s), bars)

    @classmethod
    def from_map(cls, tempo_map: TempoMap, last_sound_s: float) -> Self:
        """The bars of a map that begin before the last sound, at least one."""
        bars = 1
        while bars < _MOST_BARS and float(tempo_map.time_of_bar(bars + 1)) < last_sound_s:
            bars += 1
        lines = np.array([float(tempo_map.time_of_bar(bar)) for bar in range(1, bars + 2)])
        return cls._on_map(tempo_map, lines, bars)

    @classmethod
    def _on_map(cls, tempo_map: TempoMap, downbeats_s: Doubles, bars: int) -> Self:
        segments = [tempo_map.segment_at_bar(bar) for bar in range(1, bars + 1)]
        return cls(downbeats_s, tuple(one.meter for one in segments), np.array([one.free for one in segments]))

    @classmethod
    def even(cls, downbeats_s: Doubles, sign: MeterSign = _UNKNOWN_METER) -> Self:
        """Bars of one meter.

        Parameters
        ----------
        downbeats_s : float64 array, shape (n_bars + 1,)
            Seconds.
        sign : MeterSign
        """
        bars = max(0, len(downbeats_s) - 1)
        return cls(np.asarray(downbeats_s, np.float64), (sign,) * bars, np.zeros(bars, np.bool_))

    @property
    def bars(self) -> int:
        return len(self.signs)

    @property
    def meter_changes(self) -> tuple[MeterChange, ...]:
        found, bar = [], 1
        for meter, signs in groupby(map(str, self.signs)):
            found.append(MeterChange(bar, meter))
            bar += len(list(signs))
        return tuple(found)

    def times_s(self, bar: int, beats: Doubles) -> Doubles:
        """Seconds of beats of one bar.

        Parameters
        ----------
        bar : int
            From 0.
        beats : float64 array, shape (n,)
            From 1, in the meter's written unit; a bar's end is its number of beats plus 1.

        Returns
        -------
        float64 array, shape (n,)
        """
        start_s, end_s = self.downbeats_s[bar : bar + 2]
        times: Doubles = start_s + (np.asarray(beats) - 1) / self.signs[bar].upper * (end_s - start_s)
        return times

    def first_bars(self, bars: int) -> BarClock:
        """The same clock, shorter."""
        return replace(self, downbeats_s=self.downbeats_s[: bars + 1], signs=self.signs[:bars], free=self.free[:bars])
