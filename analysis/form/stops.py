"""Stops: everybody rests for a pulse or more, and then the song goes on.

A pulse may be a rest when nobody strikes in it, nothing gets louder where it begins, and at its end the sound lies far
under the song around it and clearly under what the same pulse of the neighbouring bars falls to: music with gaps in its
groove does not stop there. Rests inside a figure are the figure's. A logistic regression weighs how deep the rest is,
where it lies in its bar and what is struck around it; `bench/form/fit_stops.py` fits it on songs whose stops are known.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np

from analysis.core.chart_draft import Hit, Stop
from analysis.core.linear_model import LinearModel
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
# Other rests that lie so near, in bars, say that this is how the music goes; surely more than this from the same beat.
_NEAR_BARS, _MOST_NEAR = 3, 2
_MOST_DB, _MOST_UNDER_USUAL_DB = 60.0, 40.0
_DB_A_STEP = 10.0
WEIGHTS = Path(__file__).with_name("stops_weights.json")
# In the order in which `stop_numbers` gives them: the weights are stored by these names.
STOP_NUMBERS = (
    "depth",
    "depth beside usual",
    "to the bar's end",
    "from the bar's start",
    "likeliest hit before it",
    "likely hits before it",
    "likeliest hit after it",
    "strongest stroke before it",
    "newest stroke before it",
    "strongest stroke after it",
    "other rests near",
)
# Log odds from which on a rest is a stop: fitted with the weights.
LEAST_LOG_ODDS = 0.0


@dataclass(frozen=True)
class _Pulse:
    """`bar` from 0, `beat` from 1; `end_db` re the song around it; strokes in shares of a strong one.

    `usual_db` and `usual_stroke` are what the same pulse of the bars around has.
    """

    bar: int
    beat: int
    beats: int
    end_db: float
    struck: float
    struck_inside: float
    usual_db: float = 0.0
    usual_stroke: float = 0.0

    @property
    def strongest(self) -> float:
        return max(self.struck, self.struck_inside)

    @property
    def sounds(self) -> bool:
        return self.strongest > _SOUNDING


def find_stops(sound: SongSound, clock: BarClock, hits: Sequence[Hit] = ()) -> tuple[Stop, ...]:
    """Stops in order of time; none in a free passage, where nobody counts.

    Parameters
    ----------
    sound : SongSound
    clock : BarClock
    hits : sequence of Hit
        Likely ones too: what rests in a figure belongs to it.
    """
    rests, numbers = stop_numbers(sound, clock, hits)
    if not rests:
        return ()
    odds = _stored_model().log_odds(numbers)
    likely = [stop for stop, odd in zip(rests, odds, strict=True) if odd > LEAST_LOG_ODDS]
    same = [[other for other in rests if other.beat == stop.beat] for stop in likely]
    return tuple(stop for stop, others in zip(likely, same, strict=True) if _near(stop, others) <= _MOST_NEAR)


def _near(stop: Stop, others: Sequence[Stop]) -> int:
    return sum(abs(other.bar - stop.bar) <= _NEAR_BARS for other in others)


@cache
def _stored_model() -> LinearModel:
    return LinearModel.from_json(json.loads(WEIGHTS.read_text("utf-8")), STOP_NUMBERS)


def stop_numbers(sound: SongSound, clock: BarClock, hits: Sequence[Hit]) -> tuple[tuple[Stop, ...], Doubles]:
    """Rests that may be stops, and the numbers of each.

    Parameters
    ----------
    sound : SongSound
    clock : BarClock
    hits : sequence of Hit

    Returns
    -------
    rests : tuple of Stop
    numbers : float64 array, shape (n_rests, n_numbers)
        In the order of `STOP_NUMBERS`.
    """
    pulses = _pulses(sound, clock)
    sounding = [place for place, pulse in enumerate(pulses) if pulse.sounds]
    if not sounding:
        return (), np.zeros((0, len(STOP_NUMBERS)))
    within = slice(sounding[0] + 1, sounding[-1])
    found = [stop for stop in _runs(pulses[within], _rests(pulses)[within]) if not clock.free[stop.bar - 1]]
    rows = [_numbers_of(stop, pulses, hits, found) for stop in found]
    return tuple(found), np.array(rows).reshape(len(found), len(STOP_NUMBERS))


def _numbers_of(stop: Stop, pulses: Sequence[_Pulse], hits: Sequence[Hit], rests: Sequence[Stop]) -> list[float]:
    bar = [pulse for pulse in pulses if pulse.bar == stop.bar - 1]
    before = [pulse for pulse in bar if pulse.beat < stop.beat]
    after = [pulse for pulse in bar if pulse.beat >= stop.beat + stop.beats]
    last = [pulse for pulse in bar if pulse.beat < stop.beat + stop.beats][-1]
    mine = [hit for hit in hits if hit.bar == stop.bar]
    likely = [_likely(hit) for hit in mine if hit.beat < stop.beat]
    return [
        min(-last.end_db, _MOST_DB) / _DB_A_STEP,
        min(last.usual_db - last.end_db, _MOST_UNDER_USUAL_DB) / _DB_A_STEP,
        float(not after),
        float(not before),
        max(likely, default=0.0),
        sum(likely),
        max((_likely(hit) for hit in mine if hit.beat > stop.beat), default=0.0),
        max((pulse.strongest for pulse in before), default=0.0),
        max((pulse.strongest - pulse.usual_stroke for pulse in before), default=0.0),
        max((pulse.strongest for pulse in after), default=0.0),
        float(_near(stop, rests) - 1),
    ]


def _likely(hit: Hit) -> float:
    """A hit that does not say how likely it is, is one."""
    return hit.confidence or 1.0


def _runs(pulses: Sequence[_Pulse], rests: Flags) -> Iterator[Stop]:
    places = range(len(pulses))
    for rest, run in groupby(places, key=lambda place: bool(rests[place])):
        if rest:
            members = [pulses[place] for place in run]
            yield Stop(members[0].bar + 1, float(members[0].beat), float(sum(one.beats for one in members)))


def _rests(pulses: Sequence[_Pulse]) -> Flags:
    end_db = np.array([pulse.end_db for pulse in pulses])
    usual_db = np.array([pulse.usual_db for pulse in pulses])
    quiet = end_db < np.minimum(-_QUIET_DB, usual_db - _QUIETER_DB)
    at = np.array([pulse.struck for pulse in pulses]) < _STRUCK
    inside = np.array([pulse.struck_inside for pulse in pulses]) < _STRUCK_INSIDE
    unstruck = at & inside
    rests = quiet & unstruck
    begins = unstruck[:-1] & (end_db[:-1] < -_FALLEN_DB) & rests[1:]
    return np.append(rests[:-1] | begins, rests[-1:])


def _with_usual(pulses: Sequence[_Pulse]) -> list[_Pulse]:
    """Each beside the same pulse of the bars around: how quiet that gets, at most deep silence, and its strokes."""
    bars, beats = (np.array([getattr(pulse, name) for pulse in pulses]) for name in ("bar", "beat"))
    table = np.full((bars.max() + 1, beats.max() + 1, 2), np.nan)
    table[bars, beats] = [(pulse.end_db, pulse.strongest) for pulse in pulses]
    before, after = usual_beside(table)
    quiet = np.maximum(np.nan_to_num(np.fmin(before, after))[bars, beats, 0], _DEEPEST_USUAL_DB)
    strokes = np.nan_to_num(np.fmax(before, after))[bars, beats, 1]
    return [
        replace(pulse, usual_db=float(level), usual_stroke=float(stroke))
        for pulse, level, stroke in zip(pulses, quiet, strokes, strict=True)
    ]


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
    return _with_usual(found)


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
