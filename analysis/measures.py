"""Put what was heard into the song's numbers: tempo with its interval, meter, bar one, beats and map."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.alternatives import alternatives
from analysis.evidence import Evidence
from analysis.grid import GridFit
from analysis.heard import Heard, listen
from analysis.layout import Layout, lay_out
from analysis.phase import settle_phase
from analysis.reports import BarOne, Brief, MapSegment, Meter, SongMeasures, Tempo
from analysis.rounding import set_tempo
from analysis.tempo_map import MeterSign

Doubles = NDArray[Any]
TIME_DECIMALS = 6


def no_grid(music: Evidence | None, brief: Brief) -> SongMeasures:
    """Nothing to count on: the brief's tempo stands in, with no confidence, when there is one."""
    source: Literal["brief"] | None = "brief" if brief.bpm else None
    tempo = Tempo(kind="none", bpm=brief.bpm, source=source)
    return SongMeasures(tempo=tempo, first_sound_s=_seconds(music.first_sound_s) if music else None)


def with_music(music: Evidence, brief: Brief, sample_rate_hz: int) -> SongMeasures:
    heard = listen(music, brief)
    if heard is None:
        return no_grid(music, brief)
    return _steady(music, heard, brief, sample_rate_hz)


def _steady(music: Evidence, heard: Heard, brief: Brief, sample_rate_hz: int) -> SongMeasures:
    best = heard.best
    fit = heard.fits[best.fit]
    chosen = set_tempo(fit.bpm, fit.bpm_error, stated_bpm=brief.bpm)
    period_s = float(60 / chosen.bpm)
    middle_s = float(np.median(music.onset_s))
    beat_s = best.beat_s + round((middle_s - best.beat_s) / best.period_s) * best.period_s
    beat_s = settle_phase(music, period_s, beat_s)
    beats = round((beat_s - best.bar_s) / best.period_s) % best.meter.beats
    downbeat_s = beat_s - beats * period_s
    layout = lay_out(music, period_s=period_s, downbeat_s=downbeat_s, beats_per_bar=best.meter.beats)
    tempo = Tempo(
        kind="constant",
        bpm=float(chosen.bpm),
        bpm_exact=_text(chosen.bpm),
        bpm_low=chosen.low,
        bpm_high=chosen.high,
        source="music",
        residual_ms=_residual_ms(fit),
        confidence=round(heard.tempo_confidence, 4),
        alternatives=alternatives(heard),
    )
    return measures_from(
        layout,
        tempo,
        sign=best.meter.sign,
        confidences=(heard.meter_confidence, heard.bar_confidence),
        first_sound_s=music.first_sound_s,
        sample_rate_hz=sample_rate_hz,
    )


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
    """`confidences` are those of the meter and of the bar lines."""
    meter = MeterSign.parse(sign)
    bar_one_s = round(layout.bar_one_s, TIME_DECIMALS)
    if not tempo_map and tempo.bpm is not None:
        tempo_map = (MapSegment(bar=1, time_s=bar_one_s, bpm=tempo.bpm, meter=sign),)
    return SongMeasures(
        tempo=tempo,
        tempo_map=tempo_map,
        meter=Meter(meter.upper, meter.lower, round(confidences[0], 4)),
        bar_one=BarOne(
            time_s=bar_one_s,
            frame=round(bar_one_s * sample_rate_hz),
            confidence=round(confidences[1], 4),
            pickup_beats=layout.pickup_beats,
        ),
        count_in_bars=layout.count_in_beats / meter.beats_per_bar,
        beats_s=tuple(_seconds(time) for time in layout.beats_s),
        downbeats_s=tuple(_seconds(time) for time in layout.downbeats_s),
        first_sound_s=None if first_sound_s is None else _seconds(first_sound_s),
    )


def _residual_ms(fit: GridFit) -> float:
    return round(1000 * fit.spread_s, 2)


def _seconds(time_s: float) -> float:
    return round(float(time_s), TIME_DECIMALS)


def _text(bpm: Fraction) -> str:
    return str(bpm)
