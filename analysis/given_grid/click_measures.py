"""A song that has a click: the click's grid is the grid, and music only says where bar one is and whether it fits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.bars.layout import ON_BEAT, music_span
from analysis.bars.map_fit import segments_through
from analysis.bars.ranking import rank_readings_on
from analysis.bars.song_measures import measures_from
from analysis.bars.statements import Statements
from analysis.core.reports import Alternative, SongMeasures, Tempo
from analysis.core.samples import Doubles
from analysis.given_grid.bars_on_grid import BarsOnGrid, lay_out_on
from analysis.given_grid.click_track import ClickTrack
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import GridFit, PlaceInBeat
from analysis.tempo.rounding import SetTempo, set_tempo

# How near the map of a click that changes its tempo keeps to its clicks, and how sure 4/4 is of a click without accents
# (house choices).
_CLICK_MAP_TOLERANCE_S = 0.0015
_UNACCENTED_METER_CONFIDENCE = 0.6
# A click without accents may tick halves or doubles of the felt beat, more likely so outside the usual tempos
# (house choices).
_USUAL_BPM = (60.0, 180.0)
_LEVEL_DOUBT, _ODD_LEVEL_DOUBT = 0.025, 0.1


def with_click(click: ClickTrack, music: Evidence | None, statements: Statements, sample_rate_hz: int) -> SongMeasures:
    """The song on its click's grid.

    Parameters
    ----------
    click : ClickTrack
    music : Evidence or None
        In the same time as the click; None where the song is a click alone.
    statements : Statements
        What people state about the song.
    sample_rate_hz : int
        In whose frames bar one is counted.
    """
    bars = _bars(click, music, statements)
    beats_s, before = _covering(click, music)
    bars = replace(bars, downbeat=bars.downbeat + before)
    layout = lay_out_on(beats_s, bars, music)
    tempo, chosen = _tempo(click)
    return measures_from(
        layout,
        tempo,
        sign=bars.sign,
        confidences=(bars.meter_confidence, bars.bar_confidence),
        first_sound_s=min(float(click.clicks_s[0]), music.first_sound_s) if music else float(click.clicks_s[0]),
        sample_rate_hz=sample_rate_hz,
        tempo_map=() if chosen else segments_through(layout, sign=bars.sign, tolerance_s=_CLICK_MAP_TOLERANCE_S),
    )


def _covering(click: ClickTrack, music: Evidence | None) -> tuple[Doubles, int]:
    """The click's beats, carried on evenly to where the music begins and ends; how many were put before them."""
    beats_s = click.beats_s
    if music is None or click.period_s is None:
        return beats_s, 0
    period_s = click.period_s * click.clicks_per_beat
    from_s, to_s = music_span(music)
    before = max(0, int(np.ceil((beats_s[0] - from_s) / period_s - ON_BEAT)))
    after = max(0, int(np.ceil((to_s - beats_s[-1]) / period_s - ON_BEAT)))
    earlier = beats_s[0] + np.arange(-before, 0) * period_s
    later = beats_s[-1] + np.arange(1, after + 1) * period_s
    return np.concatenate([earlier, beats_s, later]), before


def _bars(click: ClickTrack, music: Evidence | None, statements: Statements) -> BarsOnGrid:
    if click.beats_per_bar:
        downbeat = click.first_accent // click.clicks_per_beat
        sign = _sign(click)
        # Each accent in its place is one more witness.
        sure = round(1 - 0.5 / (int(click.is_accent.sum()) + 1), 4)
        return BarsOnGrid(downbeat, click.beats_per_bar, sign, sure, sure)
    if music is not None and click.period_s:
        period_s = click.period_s * click.clicks_per_beat
        ranking = rank_readings_on(music, _as_fit(click, period_s), statements)
        if ranking:
            best = ranking.best
            downbeat = round((best.bar_s - float(click.beats_s[0])) / period_s)
            return BarsOnGrid(
                downbeat, best.meter.beats, best.meter.sign, ranking.meter_confidence, ranking.bar_confidence
            )
    return BarsOnGrid(0, 4, "4/4", _UNACCENTED_METER_CONFIDENCE, 0.5)


def _sign(click: ClickTrack) -> str:
    beats, parts = click.beats_per_bar or 4, click.clicks_per_beat
    return f"{beats * 3}/8" if parts == 3 else f"{beats}/{8 if beats == 7 else 4}"


def _as_fit(click: ClickTrack, period_s: float) -> GridFit:
    return GridFit(period_s, click.period_error_s, (PlaceInBeat(float(click.beats_s[0]), 1.0),), click.scatter_s, 1.0)


def _tempo(click: ClickTrack) -> tuple[Tempo, SetTempo | None]:
    accented = click.clicks_per_bar is not None
    beats_s = click.beats_s
    doubt = 0.0 if accented else _level_doubt(60 / float(np.median(np.diff(beats_s))))
    # Each interval that agrees is one more witness to the pulse; without accents its level stays in doubt.
    confidence = round((1 - 0.5 / len(click.clicks_s)) * (1 - 2 * doubt), 4)
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
        alternatives=() if accented else _other_levels(float(chosen.bpm), doubt),
    )
    return tempo, chosen


def _ms(click: ClickTrack) -> float:
    return round(1000 * click.scatter_s, 3)


def _level_doubt(bpm: float) -> float:
    """How likely half, and double, the click's pulse is the felt beat."""
    return _LEVEL_DOUBT if _USUAL_BPM[0] <= bpm <= _USUAL_BPM[1] else _ODD_LEVEL_DOUBT


def _other_levels(bpm: float, doubt: float) -> tuple[Alternative, ...]:
    return (
        Alternative(bpm=round(bpm / 2, 4), weight=doubt, label="half"),
        Alternative(bpm=round(bpm * 2, 4), weight=doubt, label="double"),
    )
