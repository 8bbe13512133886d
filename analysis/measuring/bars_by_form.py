"""The bars that a chart is drafted on: as measured, or in another reading that the whole song speaks for.

Measuring weighs what happens on the beats. Where that leaves other bars likely, or another meter, each reading is laid
out over the song with the odd bars that it needs, and what its bars sound like decides (`bar_numbers.py`), if clearly.
Then more odd bars are tried, and none, and how clearly sections begin counts too. What is reported stays as it was
measured.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from analysis.bars.measures import RankedReadings, ranked_readings
from analysis.bars.odd_bars import PRICE
from analysis.core.linear_model import LinearModel
from analysis.core.reports import SongMeasures
from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import bar_rows
from analysis.form.borders import border_numbers
from analysis.form.division import divide, division_log_odds
from analysis.form.last_bars import with_true_end
from analysis.form.likeness import likeness
from analysis.form.sections import MOST_BARS, file_level
from analysis.form.song_sound import SongSound, hear
from analysis.form.thirds import written_in_thirds
from analysis.form.weights import form_models
from analysis.maps.tempo_map import MeterSign
from analysis.measuring.bar_numbers import NUMBERS, BarsRead, bar_numbers
from analysis.measuring.bar_readings import readings_in_question
from analysis.tempo.evidence import Evidence

WEIGHTS_PATH = Path(__file__).with_name("bar_weights.json")
# House choices. Where measuring is so sure, no other reading is asked about; fewer bars tell nothing.
_SURE = 0.98
_FEWEST_BARS = 8
# Other prices of an odd bar that are tried, in log odds: so high that there is none, and low. Other odd bars are
# believed if the numbers of their bars, weighed so, and how clear sections are win this much together: found on the
# songs of `bench.form.songs.FITTED` and some of `bench.form.fit_bars.TAUGHT`.
_OTHER_PRICES, _PER_NUMBERS, _LEAST_GAIN = (1e6, 14.0, 10.0), 4.0, 2.0
# Bars are as long within this share; lines are the same within this time, and bars, if so many of their lines are. Of
# readings with the same bars the likelier one is taken.
_SAME_LENGTH, _SAME_LINE_S, _SAME_LINES, _MOST_LINES, _PREFER = 0.012, 0.07, 0.9, 0.5, 1e-6
# The numbers are learned from songs written by rule. Of nine recordings they would have moved three that measuring had
# right, by .5 to 2.9 in log odds, so another reading has to be likelier by this.
_MEASURED_COUNTS = 3.0
# Where bars of six eighths are the usual ones, three more are a bar of their own.
_USUAL, _LONG, _SHORT = MeterSign(6, 8), MeterSign(9, 8), MeterSign(3, 8)


@dataclass(frozen=True)
class _Song:
    """The files' pooled evidence, each file's features, how they sound together, and the song's readings."""

    music: Evidence
    files: Sequence[Features]
    sound: SongSound
    ranked: RankedReadings

    def clock(self, place: int, *, odd_price: float = PRICE) -> BarClock | None:
        """The bars of a reading with the end that the band plays; None where their number is none of a song."""
        clock = BarClock.from_song(self.ranked.read_as(place, odd_price=odd_price))
        if clock is None or not _FEWEST_BARS <= clock.bars <= MOST_BARS:
            return None
        clock = with_short_bars(with_true_end(self.music, clock))
        return clock if clock.bars >= _FEWEST_BARS else None

    def read(self, most: int | None = None) -> Iterator[BarsRead]:
        """The song in each reading that is asked about, or in so many of them."""
        for one in readings_in_question(self.ranked.ranking)[:most]:
            if (clock := self.clock(one.place)) is not None:
                yield BarsRead(one.place, clock, one.reading.meter.sign, one.reading.meter.beats, one.weight)

    def numbers(self, read: Sequence[BarsRead]) -> Doubles:
        return np.array([bar_numbers(one, self.music, self.sound) for one in read]).reshape(-1, len(NUMBERS))

    def clear_sections(self, clock: BarClock) -> float:
        """How clear the song's sections are in these bars, in log odds."""
        rows = bar_rows(self.music, [file_level(features) for features in self.files], clock)
        log_odds = form_models().borders.log_odds(border_numbers(rows, likeness(rows)))
        return division_log_odds(log_odds, divide(log_odds))


def drafted_bars(
    music: Evidence, files: Sequence[Features], song: SongMeasures, *, is_meter_given: bool = False
) -> BarClock | None:
    """The bars of a song that has no map, for its chart.

    Parameters
    ----------
    music : Evidence
        The files' pooled evidence, in the files' time.
    files : sequence of Features
        Of each file of the music.
    song : SongMeasures
        As measured from them.
    is_meter_given : bool
        Somebody said what the meter is: it is not looked at again.

    Returns
    -------
    BarClock or None
        With the end that the band plays; None for a song without bars.
    """
    measured = BarClock.from_song(song)
    if measured is None:
        return None
    clock = with_short_bars(with_true_end(music, measured))
    if is_meter_given:
        return clock
    sound = hear(files)
    if song.tempo.source == "music" and _FEWEST_BARS <= clock.bars <= MOST_BARS and (ranked := ranked_readings(music)):
        own = _Song(music, files, sound, ranked)
        clock = _with_odd_bars(own, _likeliest(own, song, clock))
    return written_in_thirds(clock, sound)


def with_short_bars(clock: BarClock) -> BarClock:
    """Among bars of 6/8 measuring joins three eighths to the bar before them; here they are a bar of 3/8."""
    if max(set(clock.signs), key=clock.signs.count) != _USUAL or _LONG not in clock.signs:
        return clock
    long = np.flatnonzero([sign == _LONG for sign in clock.signs])
    starts, ends = clock.downbeats_s[long], clock.downbeats_s[long + 1]
    signs = [parts for sign in clock.signs for parts in ((_USUAL, _SHORT) if sign == _LONG else (sign,))]
    lines_s = np.insert(clock.downbeats_s, long + 1, starts + (ends - starts) * _USUAL.upper / _LONG.upper)
    return BarClock(lines_s, tuple(signs), np.insert(clock.free, long + 1, clock.free[long]))


def readings_of_song(music: Evidence, files: Sequence[Features]) -> tuple[list[BarsRead], Doubles]:
    """The song in each reading that is asked about, the likeliest first, and the numbers of each.

    Returns
    -------
    readings : list of BarsRead
    numbers : float64 array, shape (len(readings), len(NUMBERS))
    """
    ranked = ranked_readings(music)
    own = _Song(music, files, hear(files), ranked) if ranked else None
    read = list(own.read()) if own else []
    return read, own.numbers(read) if own else np.zeros((0, len(NUMBERS)))


def _likeliest(own: _Song, song: SongMeasures, clock: BarClock) -> BarsRead:
    """The likeliest reading; the one that was measured, on the clock given, is at least as likely as measuring said."""
    sure = song.bar_one.confidence >= _SURE
    read = list(own.read(1 if sure else None))
    sign = max(set(clock.signs), key=clock.signs.count)
    measured = BarsRead(None, clock, str(sign), sign.beats_per_bar, song.bar_one.confidence)
    same = [one for one in read if one.sign == measured.sign and _same_length(one.clock, clock)]
    if same:
        best = max(same, key=lambda one: _shared_lines(one.clock, clock))
        measured = replace(best, weight=max(best.weight, measured.weight))
    if sure:
        return measured
    # Which beat begins the bar is left to measuring, which has heard more kinds of music; but for half a bar.
    read = [one for one in read if one not in same or _is_half_a_bar_off(one.clock, measured.clock)]
    read.append(measured)
    scores = _model().log_odds(own.numbers(read))
    shares = np.exp(scores - scores.max())
    # Readings that differ may be of the same bars once they have their odd ones.
    alike = np.array([[_same_bars(one, other) for other in read] for one in read])
    likely = np.where(alike, shares, 0.0).sum(axis=1) + _PREFER * shares
    likely[alike[-1]] *= np.exp(_MEASURED_COUNTS)
    return read[int(np.argmax(likely))]


def _same_bars(one: BarsRead, other: BarsRead) -> bool:
    pairs = ((one.clock, other.clock), (other.clock, one.clock))
    return one.sign == other.sign and all(_shared_lines(*pair) > _SAME_LINES for pair in pairs)


def _same_length(one: BarClock, other: BarClock) -> bool:
    one_s, other_s = (float(np.median(np.diff(clock.downbeats_s))) for clock in (one, other))
    return abs(one_s / other_s - 1) < _SAME_LENGTH


def _is_half_a_bar_off(one: BarClock, other: BarClock) -> bool:
    """Most lines of the one are in the middle of the other's bars, of an even number of beats."""
    if other.signs[0].beats_per_bar % 2:
        return False
    middles = replace(other, downbeats_s=(other.downbeats_s[1:] + other.downbeats_s[:-1]) / 2)
    return _shared_lines(one, middles) > _MOST_LINES


def _shared_lines(one: BarClock, other: BarClock) -> float:
    apart = np.abs(one.downbeats_s[:, None] - other.downbeats_s[None, :]).min(axis=1)
    return float((apart < _SAME_LINE_S).mean())


def _with_odd_bars(own: _Song, read: BarsRead) -> BarClock:
    """The same reading with more odd bars, or without, where that is clearer."""
    if read.place is None:
        return read.clock
    clocks = {read.clock.signs: read.clock}
    for price in _OTHER_PRICES:
        if (clock := own.clock(read.place, odd_price=price)) is not None:
            clocks.setdefault(clock.signs, clock)
    if len(clocks) == 1:
        return read.clock
    own_score, *scores = (_likelihood(own, replace(read, clock=clock)) for clock in clocks.values())
    best = int(np.argmax(scores))
    return list(clocks.values())[1 + best] if scores[best] - own_score > _LEAST_GAIN else read.clock


def _likelihood(own: _Song, read: BarsRead) -> float:
    """How likely these bars of a reading are, in log odds."""
    return own.clear_sections(read.clock) + _PER_NUMBERS * float(_model().log_odds(own.numbers([read]))[0])


@cache
def _model() -> LinearModel:
    return LinearModel.from_json(json.loads(WEIGHTS_PATH.read_text("utf-8")), NUMBERS)
