"""A song that has a click: the click's grid is the grid, and music only says where bar one is and whether it fits."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from analysis.click_track import ClickTrack
from analysis.evidence import Evidence
from analysis.given_grid import BarsOnGrid, lay_out_on
from analysis.grid import GridFit, PlaceInBeat
from analysis.heard import listen_on
from analysis.map_fit import segments_through
from analysis.measures import measures_from
from analysis.reports import Alternative, SongMeasures, Tempo
from analysis.rounding import SetTempo, set_tempo
from analysis.statements import Statements

Doubles = NDArray[Any]
CLICK_MAP_TOLERANCE_S = 0.0015
UNACCENTED_METER_CONFIDENCE = 0.6
# A click without accents may tick halves or doubles of the felt beat.
LEVEL_DOUBT = 0.1


def with_click(click: ClickTrack, music: Evidence | None, statements: Statements, sample_rate_hz: int) -> SongMeasures:
    beats_s = click.beats_s
    bars = _bars(click, music, statements)
    layout = lay_out_on(beats_s, bars, music)
    tempo, chosen = _tempo(click, beats_s)
    return measures_from(
        layout,
        tempo,
        sign=bars.sign,
        confidences=(bars.meter_confidence, bars.bar_confidence),
        first_sound_s=min(float(click.clicks_s[0]), music.first_sound_s) if music else float(click.clicks_s[0]),
        sample_rate_hz=sample_rate_hz,
        tempo_map=() if chosen else segments_through(layout, sign=bars.sign, tolerance_s=CLICK_MAP_TOLERANCE_S),
    )


def _bars(click: ClickTrack, music: Evidence | None, statements: Statements) -> BarsOnGrid:
    if click.beats_per_bar:
        downbeat = click.first_accent // click.clicks_per_beat
        sign = _sign(click)
        return BarsOnGrid(downbeat, click.beats_per_bar, sign, 0.99, 0.99)
    if music is not None and click.period_s:
        period_s = click.period_s * click.clicks_per_beat
        heard = listen_on(music, _as_fit(click, period_s), statements)
        if heard:
            best = heard.best
            downbeat = round((best.bar_s - float(click.beats_s[0])) / period_s)
            return BarsOnGrid(downbeat, best.meter.beats, best.meter.sign, heard.meter_confidence, heard.bar_confidence)
    return BarsOnGrid(0, 4, "4/4", UNACCENTED_METER_CONFIDENCE, 0.5)


def _sign(click: ClickTrack) -> str:
    beats, parts = click.beats_per_bar or 4, click.clicks_per_beat
    return f"{beats * 3}/8" if parts == 3 else f"{beats}/{8 if beats == 7 else 4}"


def _as_fit(click: ClickTrack, period_s: float) -> GridFit:
    return GridFit(period_s, click.period_error_s, (PlaceInBeat(float(click.beats_s[0]), 1.0),), click.scatter_s, 1.0)


def _tempo(click: ClickTrack, beats_s: Doubles) -> tuple[Tempo, SetTempo | None]:
    accented = click.clicks_per_bar is not None
    confidence = 0.995 if accented else 1 - 2 * LEVEL_DOUBT
    if click.period_s is None:
        bpm = 60 * (len(beats_s) - 1) / float(beats_s[-1] - beats_s[0])
        return Tempo(kind="map", bpm=round(bpm, 4), source="click", residual_ms=_ms(click), confidence=confidence), None
    scale = 60 / click.clicks_per_beat
    measured = scale / click.period_s
    chosen = set_tempo(measured, measured * click.period_error_s / click.period_s)
    tempo = Tempo(
        kind="constant",
        bpm=float(chosen.bpm),
        bpm_exact=str(chosen.bpm),
        bpm_low=chosen.low,
        bpm_high=chosen.high,
        source="click",
        residual_ms=_ms(click),
        confidence=confidence,
        alternatives=() if accented else _other_levels(float(chosen.bpm)),
    )
    return tempo, chosen


def _ms(click: ClickTrack) -> float:
    return round(1000 * click.scatter_s, 3)


def _other_levels(bpm: float) -> tuple[Alternative, ...]:
    return (
        Alternative(bpm=round(bpm / 2, 4), weight=LEVEL_DOUBT, label="half"),
        Alternative(bpm=round(bpm * 2, 4), weight=LEVEL_DOUBT, label="double"),
    )
