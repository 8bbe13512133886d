"""Stops: everybody rests for a pulse or more, and then the song goes on.

A pulse is a rest when nobody strikes in it, nothing gets louder where it begins, and at its end the sound lies far
under the song around it and clearly under what the same pulse of the neighbouring bars falls to: music with gaps in its
groove does not stop there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from analysis.core.chart_draft import Hit, Stop
from analysis.core.samples import Doubles, Flags
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.form.bar_clock import BarClock
from analysis.form.hit_numbers import usual_beside
from analysis.form.slots import pulse_beats
from analysis.form.song_sound import SongSound

# House choices, found on songs whose stops are known.
_QUIET_DB, _QUIETER_DB = 22.0, 12.0  # under the song around it, and under the same pulse of the neighbours
_DEEPEST_USUAL_DB = -30.0
# A rest's first pulse may ring on: it has to fall to this before a pulse of rest.
_FALLEN_DB = 14.0
_STRUCK, _STRUCK_INSIDE = 0.5, 0.4  # shares of a strong stroke of the song: at the pulse, and later in it
_SOUNDING = 0.3
# A dull stroke changes the spectrum little, but the level: it rises so much, and over that of a rest that has fallen.
_RISEN_DB = 8.0
# In frames: a stroke may be so early, and so late; and what is looked at before the pulse ends.
_EARLY, _LATE = 4, 7
_END_FROM, _END_TO = 7, 3
_LOUD_PERCENTILE = 80
_BARS_AROUND = 2
# This many hits in a bar are a figure: the rests between them belong to it.
_FIGURE_HITS = 2
# More stops than this so near to each other, in bars, are how the music goes.
_MOST_NEAR, _NEAR_BARS = 2, 3


@dataclass(frozen=True)
class _Pulse:
    """`bar` from 0, `beat` from 1; `end_db` re the song around it; strokes in shares of a strong one."""

    bar: int
    beat: int
    beats: int
    end_db: float
    struck: float
    struck_inside: float

    @property
    def sounds(self) -> bool:
        return max(self.struck, self.struck_inside) > _SOUNDING


def find_stops(sound: SongSound, clock: BarClock, hits: Sequence[Hit] = ()) -> tuple[Stop, ...]:
    """Stops in order of time; none in a free passage, where nobody counts.

    Parameters
    ----------
    sound : SongSound
    clock : BarClock
    hits : sequence of Hit
        Likely ones too: a bar with several is a figure, and what rests in it belongs to the figure.
    """
    pulses = _pulses(sound, clock)
    sounding = [place for place, pulse in enumerate(pulses) if pulse.sounds]
    if not sounding:
        return ()
    within = slice(sounding[0] + 1, sounding[-1])
    found = [
        stop
        for stop in _runs(pulses[within], _rests(pulses)[within])
        if not (clock.free[stop.bar - 1] or _in_figure(stop, hits))
    ]
    return tuple(
        stop for stop in found if sum(abs(other.bar - stop.bar) <= _NEAR_BARS for other in found) <= _MOST_NEAR
    )


def _in_figure(stop: Stop, hits: Sequence[Hit]) -> bool:
    """Whether the bar has a figure, or is struck again after the rest."""
    mine = [hit for hit in hits if hit.bar == stop.bar]
    return len(mine) >= _FIGURE_HITS or any(hit.beat > stop.beat for hit in mine)


def _runs(pulses: Sequence[_Pulse], rests: Flags) -> Iterator[Stop]:
    places = range(len(pulses))
    for rest, run in groupby(places, key=lambda place: bool(rests[place])):
        if rest:
            members = [pulses[place] for place in run]
            yield Stop(members[0].bar + 1, float(members[0].beat), float(sum(one.beats for one in members)))


def _rests(pulses: Sequence[_Pulse]) -> Flags:
    end_db = np.array([pulse.end_db for pulse in pulses])
    quiet = end_db < np.minimum(-_QUIET_DB, _usual_ends(pulses) - _QUIETER_DB)
    at = np.array([pulse.struck for pulse in pulses]) < _STRUCK
    inside = np.array([pulse.struck_inside for pulse in pulses]) < _STRUCK_INSIDE
    unstruck = at & inside
    rests = quiet & unstruck
    begins = unstruck[:-1] & (end_db[:-1] < -_FALLEN_DB) & rests[1:]
    return np.append(rests[:-1] | begins, rests[-1:])


def _usual_ends(pulses: Sequence[_Pulse]) -> Doubles:
    """How quiet the same pulse of the bars around gets at its end; never more than deep silence."""
    bars, beats = (np.array([getattr(pulse, name) for pulse in pulses]) for name in ("bar", "beat"))
    table = np.full((bars.max() + 1, beats.max() + 1), np.nan)
    table[bars, beats] = [pulse.end_db for pulse in pulses]
    usual = np.nan_to_num(np.fmin(*usual_beside(table)))
    found: Doubles = np.maximum(usual[bars, beats], _DEEPEST_USUAL_DB)
    return found


def _pulses(sound: SongSound, clock: BarClock) -> list[_Pulse]:
    around_db = _levels_around(sound, clock)
    found = []
    for bar, sign in enumerate(clock.signs):
        step = pulse_beats(sign)
        beats = np.arange(1, sign.upper + 1, step)
        edges = np.rint(clock.times_s(bar, np.append(beats, sign.upper + 1)) * FRAMES_PER_SECOND).astype(int)
        for beat, start, end in zip(beats, edges[:-1], edges[1:], strict=True):
            found.append(
                _Pulse(
                    bar,
                    int(beat),
                    min(step, sign.upper + 1 - int(beat)),
                    float(_part(sound.level_db, end - _END_FROM, end - _END_TO).min(initial=np.inf)) - around_db[bar],
                    _struck_at(sound, start, around_db[bar]),
                    float(_part(sound.strength, start + _LATE, end - _EARLY - 1).max(initial=0.0)),
                )
            )
    return found


def _struck_at(sound: SongSound, start: int, around_db: float) -> float:
    """A stroke's share of a strong one. Where it gets louder, a strong one was played, however dull."""
    before_db = float(_part(sound.level_db, start - 2 * _EARLY, start - _EARLY).min(initial=np.inf))
    peak_db = float(_part(sound.level_db, start - _EARLY, start + _LATE).max(initial=-np.inf))
    if peak_db > max(before_db + _RISEN_DB, around_db - _FALLEN_DB):
        return 1.0
    return float(_part(sound.strength, start - _EARLY, start + _LATE).max(initial=0.0))


def _part(values: Doubles, start: int, end: int) -> Doubles:
    return values[max(0, start) : max(0, end)]


def _levels_around(sound: SongSound, clock: BarClock) -> list[float]:
    """Of each bar: the level that the bars around it reach, in dB re full scale."""
    frames = np.rint(clock.downbeats_s * FRAMES_PER_SECOND).astype(int)
    bars = [bar_level_db(sound, start, end) for start, end in pairwise(frames)]
    return [float(np.median(bars[max(0, bar - _BARS_AROUND) : bar + _BARS_AROUND + 1])) for bar in range(len(bars))]


def bar_level_db(sound: SongSound, start: int, end: int) -> float:
    """What the loud part of these frames reaches, in dB re full scale; silence where there are none."""
    part = _part(sound.level_db, start, end)
    return float(np.percentile(part, _LOUD_PERCENTILE)) if len(part) else float(sound.level_db.min(initial=0.0))
