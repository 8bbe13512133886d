"""The bars that a chart is drafted on: as measured, or in another likely reading that the song's form speaks for.

Measuring weighs what happens on the beats. Where that leaves bars of another length likely, the whole song says more:
in its true bars what comes again does so most closely, and in bars of half the length its sections all have even
numbers. Single odd bars for which the beats alone say too little are believed when sections begin more clearly with
them. Tempo and bars as they are reported stay what was measured.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.bars.measures import with_music
from analysis.bars.statements import Statements
from analysis.core.reports import SongMeasures
from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import bar_rows
from analysis.form.borders import border_numbers
from analysis.form.division import divide, division_log_odds
from analysis.form.last_bars import with_true_end
from analysis.form.likeness import Likeness, likeness
from analysis.form.sections import MOST_BARS, file_level
from analysis.form.song_sound import hear
from analysis.form.thirds import written_in_thirds
from analysis.form.weights import form_models
from analysis.tempo.evidence import Evidence

# All numbers here are house choices, found on the songs of `bench.form.songs.FITTED`. A reading is asked about from
# this probability on; bars that come again are compared over this long, no nearer than three bars to each other.
_LEAST_WEIGHT = 0.03
_LEAST_TOGETHER = 0.1
_COMPARED_S, _LEAST_LAG = 8.0, 3
# What likeness and odd lengths of sections say, in log odds.
_PER_LIKENESS, _PER_ODD_SHARE = 40.0, 1.0
_FEWEST_BARS = 8
# How much likelier sections are in bars some of which are odd, in log odds, before those are believed.
_LEAST_GAIN = 1.0
# So heavy a statement decides which of the likely readings is laid out.
_ASKED = 1e4
# Readings with so many lines nearer than this are of the same bars; their tempi are as near to one another.
_SAME_LINES, _SAME_LINE_S, _SAME_TEMPO = 0.8, 0.07, 0.006


@dataclass(frozen=True)
class _Form:
    """What the whole song says of its bars.

    `likely`: how clear its sections are, in log odds. `again`: how alike the bars from each bar on are to those of
    another place that are most like them, 0 to 1. `odd_share`: of sections, those with an odd number of bars.
    """

    likely: float
    again: float
    odd_share: float


@dataclass(frozen=True)
class _Reading:
    """A way to read the song, and how likely measuring makes it."""

    clock: BarClock
    asked: Statements
    weight: float


@dataclass(frozen=True)
class _Song:
    """The files' pooled evidence, and each file's features."""

    music: Evidence
    files: Sequence[Features]

    def read(self, asked: Statements) -> BarClock | None:
        """The bars as measuring lays them out where that is stated; None where their number is none of a song."""
        clock = BarClock.from_song(with_music(self.music, asked, 1))
        if clock is None or not _FEWEST_BARS <= clock.bars <= MOST_BARS:
            return None
        return with_true_end(self.music, clock)

    def form_in(self, clock: BarClock) -> _Form:
        rows = bar_rows(self.music, [file_level(features) for features in self.files], clock)
        alike = likeness(rows)
        log_odds = form_models().borders.log_odds(border_numbers(rows, alike))
        sections = divide(log_odds)
        # The last section ends where the song does.
        odd_share = float(np.mean([len(section) % 2 for section in sections[:-1]])) if len(sections) > 1 else 0.5
        return _Form(division_log_odds(log_odds, sections), _again(alike, clock), odd_share)


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
    clock = with_true_end(music, measured)
    if is_meter_given:
        return clock
    if song.tempo.source == "music" and _FEWEST_BARS <= clock.bars <= MOST_BARS:
        own = _Song(music, files)
        clock = _with_odd_bars(own, _likeliest(own, song, clock))
    return written_in_thirds(clock, hear(files))


def _likeliest(own: _Song, song: SongMeasures, clock: BarClock) -> _Reading:
    measured = _Reading(clock, Statements(), song.meter.confidence)
    groups = [[measured]]
    for reading in _others(own, song):
        same = next((group for group in groups if _same_bars(group[0].clock, reading.clock)), None)
        if same is None:
            groups.append([reading])
        else:
            same.append(reading)
    likely = [group for group in groups if sum(one.weight for one in group) >= _LEAST_TOGETHER]
    if len(likely) < 2 or groups[0] not in likely:
        return measured
    best = max(likely, key=lambda group: _log_odds(own, group))
    return measured if best is groups[0] else max(best, key=lambda one: one.weight)


def _others(own: _Song, song: SongMeasures) -> Iterator[_Reading]:
    """The other tempi and meters that are likely, laid out over the song as measuring does."""
    for other in song.tempo.alternatives:
        is_same = abs(other.bpm / (song.tempo.bpm or 1.0) - 1) < _SAME_TEMPO
        if other.weight < _LEAST_WEIGHT or (is_same and other.meter == song.meter.sign):
            continue
        meters = ((other.meter or "", _ASKED),) if is_same else ()
        asked = Statements(tempi=() if is_same else ((other.bpm, _ASKED),), meters=meters)
        if (clock := own.read(asked)) is not None:
            yield _Reading(clock, asked, other.weight)


def _same_bars(one: BarClock, other: BarClock) -> bool:
    """Nearly all bar lines of each are the other's."""
    pairs = ((one.downbeats_s, other.downbeats_s), (other.downbeats_s, one.downbeats_s))
    return all(_share_near(lines, others) > _SAME_LINES for lines, others in pairs)


def _share_near(lines_s: Doubles, others_s: Doubles) -> float:
    apart = np.abs(lines_s[:, None] - others_s[None, :]).min(axis=1)
    return float((apart < _SAME_LINE_S).mean())


def _log_odds(own: _Song, group: Sequence[_Reading]) -> float:
    """How likely these bars are: what measuring says of them, and what the form does."""
    form = own.form_in(group[0].clock)
    measured = float(np.log(sum(one.weight for one in group)))
    return measured + _PER_LIKENESS * form.again + _PER_ODD_SHARE * form.odd_share


def _again(alike: Likeness, clock: BarClock) -> float:
    both = (alike.harmony[0] + alike.rhythm) / 2
    bar_s = float(np.median(np.diff(clock.downbeats_s)))
    span = min(max(1, round(_COMPARED_S / bar_s)), clock.bars // 2)
    starts = clock.bars - span + 1
    along = np.mean([both[step : step + starts, step : step + starts] for step in range(span)], axis=0)
    apart = np.abs(np.arange(starts)[:, None] - np.arange(starts)[None, :])
    return float(np.where(apart >= max(_LEAST_LAG, span), along, 0.0).max(axis=1).mean())


def _with_odd_bars(own: _Song, reading: _Reading) -> BarClock:
    """The same reading with more odd bars, where the form is clearer so."""
    clock = own.read(replace(reading.asked, has_odd_bars=True))
    if clock is None or clock.signs == reading.clock.signs:
        return reading.clock
    gain = own.form_in(clock).likely - own.form_in(reading.clock).likely
    return clock if gain > _LEAST_GAIN else reading.clock
