"""Bars on a grid that is given, by a click or a MIDI file: where the band comes in on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.bars.layout import LONGEST_PICKUP, ON_BEAT, Layout, music_span
from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence


@dataclass(frozen=True)
class BarsOnGrid:
    """Which beat of the grid begins a bar: index of one downbeat, beats per bar, the meter's sign, confidences."""

    downbeat: int
    beats: int
    sign: str
    meter_confidence: float
    bar_confidence: float


def lay_out_on(beats_s: Doubles, bars: BarsOnGrid, music: Evidence | None) -> Layout:
    """Bar one is the downbeat where the band comes in; without a band, the first downbeat.

    Parameters
    ----------
    beats_s : float64 array, shape (n_beats,)
        Seconds, rising; at least one.
    bars : BarsOnGrid
        Which of these beats begin bars.
    music : Evidence or None
    """
    downbeats = np.arange(bars.downbeat % bars.beats, len(beats_s), bars.beats)
    if not len(downbeats):
        return Layout(beats_s, beats_s[:0], float(beats_s[0]), 0.0, 0)
    one, pickup = int(downbeats[0]), 0.0
    if music is not None:
        first_s, _ = music_span(music)
        place = float(np.interp(first_s, beats_s, np.arange(len(beats_s))))
        later = downbeats[downbeats >= place - ON_BEAT]
        one = int(later[0]) if len(later) else int(downbeats[-1])
        pickup = one - place
        if pickup > LONGEST_PICKUP * bars.beats and one - bars.beats >= 0:
            one, pickup = one - bars.beats, 0.0
    pickup = round(2 * pickup) / 2 if pickup >= ON_BEAT else 0.0
    count_in = one - int(np.ceil(pickup)) if music is not None else 0
    return Layout(beats_s, beats_s[downbeats[downbeats >= one]], float(beats_s[one]), pickup, max(0, count_in))
