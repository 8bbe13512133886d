"""A layout and a tempo put together as a song's numbers, in seconds from the files' start and in frames."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from analysis.bars.layout import Layout
from analysis.bars.statements import Statements
from analysis.core.reports import BarOne, MapSegment, Meter, SongMeasures, Tempo
from analysis.maps.tempo_map import MeterSign
from analysis.tempo.evidence import Evidence

# A bar one up to this much before the file is at its start (house choice). Times are rounded to microseconds.
_CUT_ON_THE_BEAT_S = 0.02
TIME_DECIMALS = 6


def no_grid(music: Evidence | None, statements: Statements) -> SongMeasures:
    """A song without a beat that can be counted: the brief's tempo stands in, with no confidence, when there is one."""
    source: Literal["brief"] | None = "brief" if statements.bpm else None
    tempo = Tempo(kind="none", bpm=statements.bpm, source=source)
    return SongMeasures(tempo=tempo, first_sound_s=_seconds(music.first_sound_s) if music else None)


def measures_from(
    layout: Layout,
    tempo: Tempo,
    *,
    sign: str,
    confidences: tuple[float, float],
    first_sound_s: float | None,
    sample_rate_hz: int,
    tempo_map: tuple[MapSegment, ...] = (),
) -> SongMeasures:
    """A song's numbers from where its beats and bars lie.

    Parameters
    ----------
    layout : Layout
        In the files' time.
    tempo : Tempo
    sign : str
        The meter, such as "6/8".
    confidences : (float, float)
        Of the meter and of the bar lines.
    first_sound_s : float or None
        Seconds.
    sample_rate_hz : int
        In whose frames bar one is counted.
    tempo_map : tuple of MapSegment
        Without one, a song with a tempo has a map of one segment.
    """
    meter = MeterSign.parse(sign)
    bar_one_s = _seconds(layout.bar_one_s)
    if not tempo_map and tempo.bpm is not None:
        tempo_map = (MapSegment(bar=1, time_s=bar_one_s, bpm=tempo.bpm, meter=sign),)
    bar_one = BarOne(bar_one_s, round(bar_one_s * sample_rate_hz), round(confidences[1], 4), layout.pickup_beats)
    return SongMeasures(
        tempo=tempo,
        tempo_map=tuple(replace(segment, time_s=_seconds(segment.time_s)) for segment in tempo_map),
        meter=Meter(meter.upper, meter.lower, round(confidences[0], 4)),
        bar_one=bar_one,
        count_in_bars=layout.count_in_beats / meter.beats_per_bar,
        beats_s=tuple(_seconds(time) for time in layout.beats_s),
        downbeats_s=tuple(_seconds(time) for time in layout.downbeats_s),
        first_sound_s=None if first_sound_s is None else _seconds(first_sound_s),
    )


def _seconds(time_s: float) -> float:
    """A bounce cut on the downbeat is measured a hair before its first frame: nothing begins before the file."""
    rounded_s = round(float(time_s), TIME_DECIMALS)
    return 0.0 if -_CUT_ON_THE_BEAT_S < rounded_s < 0 else rounded_s
