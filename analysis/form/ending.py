"""How the song ends: one short hit, a held chord, slower and slower, a fade, or none of these (it breaks off).

A fade gets softer over bars while it is still being played. Slower bars are the clock's. Where the band goes on
striking through the last bar and then is gone, there is no ending. Else the last chord stands alone: how long it
sounds tells a hit from a held one.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from analysis.core.chart_draft import Ending, EndingKind
from analysis.core.samples import Indices
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.form.bar_clock import BarClock
from analysis.form.slots import pulse_beats
from analysis.form.song_sound import SongSound, is_peak
from analysis.form.stops import bar_level_db

# All numbers here are house choices, found on songs whose ending is known.
_BARS_LOOKED_AT = 16
# A fade takes at least so long, in seconds and in bars, from this level under the song's to that; strokes go on in it:
# this many a bar, each lifting the level by this much.
_FADE_S, _FADE_BARS = 3.0, 1.8
_FADE_FROM_DB, _FADE_TO_DB = 12.0, 40.0
_FADE_STROKES, _LIFT_DB = 1.0, 2.0
# Each third of it is softer than the one before, the last one by so much than the first.
_FADE_PARTS, _FADE_FALL_DB, _LOUD_PERCENTILE = 3, 10.0, 85
# The last two bars are each longer than usual by the first share, and by the second between them: slowing.
_EACH_SLOWER, _SLOWER = 1.03, 1.06
# A stroke counts from this share of a strong one and this far under the song's level.
_STROKE, _STROKE_DB = 0.35, 30.0
# Before and after a stroke, in frames: the level rises by this much, or it is a sound that stops or wavers.
_BEFORE, _AFTER, _RISE_DB = 6, 8, 0.7
# The band goes on where strokes lie so near to pulses, these at least of all: a chord that wavers has them anywhere.
_NEAR_PULSES, _ON_PULSE_SHARE = 0.1, 0.3
# Strokes nearer to the last chord's first than this share of a pulse are its spread.
_SPREAD_PULSES = 0.4
# A chord that has fallen this far within this many pulses is a hit.
_SHORT_DB, _SHORT_PULSES = 12.0, 1.3
# So soon after its level it is gone: a cut, not a ring.
_CUT_S, _CUT_FROM_DB, _CUT_TO_DB = 0.15, 12.0, 40.0


@dataclass(frozen=True)
class _Tail:
    """The song's end. Frames of 10 ms; `level_db` is the song's usual loudness re full scale."""

    sound: SongSound
    clock: BarClock
    level_db: float
    strokes: Indices

    @property
    def bar_frames(self) -> float:
        """The last bar's steady length."""
        return float(np.median(np.diff(self.clock.downbeats_s)[-_BARS_LOOKED_AT:])) * FRAMES_PER_SECOND

    @property
    def last_bar_frame(self) -> float:
        return float(self.clock.downbeats_s[-2]) * FRAMES_PER_SECOND

    @property
    def pulse_frames(self) -> float:
        """In the last bar, which may be slower."""
        sign = self.clock.signs[-1]
        bar = float(self.clock.downbeats_s[-1] - self.clock.downbeats_s[-2]) * FRAMES_PER_SECOND
        return bar * min(1.0, pulse_beats(sign) / sign.upper)

    def last_above(self, under_db: float) -> int:
        """The last frame that is louder than so far under the song's level; 0 when there is none."""
        above = np.flatnonzero(self.sound.level_db > self.level_db - under_db)
        return int(above[-1]) if len(above) else 0


def find_ending(sound: SongSound, clock: BarClock) -> Ending:
    """The ending and its bar, which is the last one."""
    if clock.bars < 2:
        return Ending("none", clock.bars)
    return Ending(_kind(_tail(sound, clock)), clock.bars)


def _tail(sound: SongSound, clock: BarClock) -> _Tail:
    frames = np.rint(clock.downbeats_s * FRAMES_PER_SECOND).astype(int)
    bars_db = [bar_level_db(sound, start, end) for start, end in itertools.pairwise(frames)]
    level_db = float(np.median(bars_db[-_BARS_LOOKED_AT:-1]))
    return _Tail(sound, clock, max(level_db, float(np.median(bars_db))), _strokes(sound, level_db))


def _strokes(sound: SongSound, level_db: float) -> Indices:
    """Frames at which something is struck, and the sound does not just stop."""
    peaks = np.flatnonzero(is_peak(sound.strength) & (sound.strength > _STROKE))
    steps = np.arange(1, _AFTER)
    last = sound.frames - 1
    before = sound.level_db[np.clip(peaks[:, None] - _BEFORE + steps[: _BEFORE - 2], 0, last)].mean(axis=1)
    after = sound.level_db[np.clip(peaks[:, None] + steps, 0, last)].max(axis=1)
    found: Indices = peaks[(after > before + _RISE_DB) & (after > level_db - _STROKE_DB)]
    return found


def _kind(tail: _Tail) -> EndingKind:
    if _fades(tail):
        return "fade"
    if _slows(tail.clock):
        return "ritardando"
    if _goes_on(tail):
        return "none"
    return "hit" if _is_short(tail) else "held"


def _fades(tail: _Tail) -> bool:
    start, end = tail.last_above(_FADE_FROM_DB), tail.last_above(_FADE_TO_DB)
    frames = end - start
    if frames < max(_FADE_S * FRAMES_PER_SECOND, _FADE_BARS * tail.bar_frames):
        return False
    level = tail.sound.level_db[start : end + 1]
    lifts = level[_BEFORE:] - level[:-_BEFORE] > _LIFT_DB
    begun = int((lifts[1:] & ~lifts[:-1]).sum())
    softer = -np.diff([float(np.percentile(part, _LOUD_PERCENTILE)) for part in np.array_split(level, _FADE_PARTS)])
    falls = softer.min() > 0 and softer.sum() > _FADE_FALL_DB
    return bool(falls and begun >= _FADE_STROKES * frames / tail.bar_frames)


def _slows(clock: BarClock) -> bool:
    bars = np.diff(clock.downbeats_s) / np.array([sign.upper / sign.lower for sign in clock.signs])
    usual = float(np.median(bars[-_BARS_LOOKED_AT:]))
    last = bars[-2:] / usual
    return bool(last.min() > _EACH_SLOWER and last.mean() > _SLOWER)


def _goes_on(tail: _Tail) -> bool:
    """Whether the last bar is played through and then everything is gone."""
    gone = tail.last_above(_CUT_TO_DB) - tail.last_above(_CUT_FROM_DB) < _CUT_S * FRAMES_PER_SECOND
    start = tail.last_bar_frame + _SPREAD_PULSES * tail.pulse_frames
    later = (tail.strokes[tail.strokes > start] - tail.last_bar_frame) / tail.pulse_frames
    on_pulse = int((np.abs(later - np.rint(later)) < _NEAR_PULSES).sum())
    return on_pulse >= (1 if gone else 2) and on_pulse >= _ON_PULSE_SHARE * len(later)


def _is_short(tail: _Tail) -> bool:
    near = tail.strokes[tail.strokes > tail.last_bar_frame - _SPREAD_PULSES * tail.pulse_frames]
    start = int(near[0] if len(near) else tail.last_bar_frame)
    chord = tail.sound.level_db[start:]
    peak_db = float(chord[: _AFTER + 4].max(initial=-np.inf))
    loud = np.flatnonzero(chord > peak_db - _SHORT_DB)
    return bool(len(loud) == 0 or loud[-1] < _SHORT_PULSES * tail.pulse_frames)
