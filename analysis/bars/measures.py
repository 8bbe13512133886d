"""From the ranked readings to the song's numbers: tempo with its interval, meter, bar one, beats and map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.bars.alternatives import alternatives, at_levels_of
from analysis.bars.beat_table import beat_table, prepare
from analysis.bars.layout import Layout, lay_out, music_span, with_odd_bars
from analysis.bars.map_fit import segments_through
from analysis.bars.odd_bars import find_slips
from analysis.bars.ranking import Ranking, rank_readings
from analysis.bars.song_measures import TIME_DECIMALS, measures_from, no_grid
from analysis.bars.statements import Statements
from analysis.core.reports import Alternative, MapSegment, SongMeasures, Tempo
from analysis.lineup.stem_lag import coherent_lag
from analysis.tempo.clock import Clock
from analysis.tempo.ending import LEAST_PLACE, find_slowing, slowing_clock
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import GridFit
from analysis.tempo.period import refined_bpm
from analysis.tempo.phase import refine_phase
from analysis.tempo.piecewise_tempo import PiecewiseTempo, count_attacks, fit_piecewise
from analysis.tempo.rounding import set_tempo
from analysis.tempo.steadiness import is_unsteady, no_surer_than
from analysis.tempo.tempo_changes import find_motion

# Bar lines of music that moves are known to some milliseconds; a finer map would follow the scatter
# (house choice).
_MAP_TOLERANCE_S = 0.010
# Coherence of the attacks times the root of their number. Free playing reaches 2 when a steady grid is laid over it and
# 6.5 when a clock is bent to follow it; measured on random rhythms and on songs.
_LEAST_GATHERED, _LEAST_GATHERED_FOLLOWED = 4.5, 6.5
# House choice.
_MOST_TEMPI_TRIED = 3
# Bars that a clock finds in free playing are a guess, to be asked about (house choice: below `Limits.tempo_sure`).
_FREE_CONFIDENCE = 0.5
# Changes of tempo are placed on the bent clock first, then once more on the clock that has each tempo exactly
# (house choice).
_PIECEWISE_ROUNDS = 2


@dataclass(frozen=True)
class RankedReadings:
    """A song's readings, ranked, on the clock on which they were found; each can be laid out.

    `kind`: how its tempo moves where there is a `clock`, and the changes of tempo, if those explain it.
    """

    music: Evidence
    ranking: Ranking
    statements: Statements
    clock: Clock | None = None
    kind: str = "steady"
    piecewise: PiecewiseTempo | None = None

    def laid_out(self, sample_rate_hz: int) -> SongMeasures:
        """The song in the likeliest of them."""
        if self.clock is None:
            return _steady_or_slowing(self.music, self.ranking, self.statements, sample_rate_hz)
        even, sign = self.music.warped(self.clock.to_even), self.statements.sign_for(self.ranking.best.meter.sign)
        return _moving(even, self.ranking, self.clock, self.kind, sign, sample_rate_hz, piecewise=self.piecewise)

    def read_as(self, place: int, *, odd_price: float) -> SongMeasures:
        """The song in the reading at this place of the ranking, an odd bar at a price in log odds."""
        order = [place, *(index for index in range(len(self.ranking.readings)) if index != place)]
        readings = tuple(self.ranking.readings[index] for index in order)
        probability = self.ranking.probability[order]
        ranking = replace(self.ranking, readings=readings, probability=probability, odd_price=odd_price)
        return replace(self, ranking=ranking).laid_out(1)


def ranked_readings(music: Evidence) -> RankedReadings | None:
    """All readings of a song from its music alone; None when it has no pulse."""
    statements = Statements()
    motion = find_motion(music)
    if motion.clock:
        found = _followed(music, motion.clock, str(motion.kind), statements)
        if found and _is_gathered(music, found.laid_out(1), found.kind):
            return found
    ranking = rank_readings(music, statements)
    return RankedReadings(music, ranking, statements) if ranking else None


def with_music(music: Evidence, statements: Statements, sample_rate_hz: int) -> SongMeasures:
    """Measure a song from its music alone.

    Follows the song's clock if its tempo moves, finds the bars on that clock, then lays them out in the files' time.

    Parameters
    ----------
    music : Evidence
        In the files' time.
    statements : Statements
        What people state about the song.
    sample_rate_hz : int
        In whose frames bar one is counted.
    """
    motion = find_motion(music)
    song = None
    if motion.clock:
        song = _on_clock(music, motion.clock, str(motion.kind), statements, sample_rate_hz)
    if song is None:
        song = _on_steady_grid(music, statements, sample_rate_hz)
    return song or no_grid(music, statements)


def _on_clock(
    music: Evidence, clock: Clock, kind: str, statements: Statements, sample_rate_hz: int
) -> SongMeasures | None:
    found = _followed(music, clock, kind, statements)
    if found is None:
        return None
    song = found.laid_out(sample_rate_hz)
    if not _is_gathered(music, song, found.kind):
        return None
    is_free = found.kind == "drift" and is_unsteady(song.downbeats_s)
    return no_surer_than(song, _FREE_CONFIDENCE) if is_free else song


def _followed(music: Evidence, clock: Clock, kind: str, statements: Statements) -> RankedReadings | None:
    """The readings on the song's own clock, and on that of its exact tempi where it has some."""
    ranking = rank_readings(music.warped(clock.to_even), statements)
    piecewise: PiecewiseTempo | None = None
    for _ in range(_PIECEWISE_ROUNDS):
        found = _piecewise(music, clock, ranking) if ranking else None
        if found is None:
            break
        piecewise, clock = found, found.clock
        ranking = rank_readings(music.warped(clock.to_even), statements)
    if ranking is None:
        return None
    return RankedReadings(music, ranking, statements, clock, "step" if piecewise else kind, piecewise)


def _piecewise(music: Evidence, clock: Clock, ranking: Ranking) -> PiecewiseTempo | None:
    best = ranking.best
    counted = count_attacks(music, clock, ranking.fits[best.fit], best.bar_s)
    fitted = fit_piecewise(counted, best.meter.beats)
    return fitted.tempo_between(float(counted.beats.min()), float(counted.beats.max())) if fitted else None


def _on_steady_grid(music: Evidence, statements: Statements, sample_rate_hz: int) -> SongMeasures | None:
    """The likeliest tempo whose beats the attacks really lie on."""
    ranking = rank_readings(music, statements)
    for _ in range(_MOST_TEMPI_TRIED):
        if ranking is None:
            return None
        song = _steady_or_slowing(music, ranking, statements, sample_rate_hz)
        if _is_gathered(music, song, "steady"):
            return song
        ranking = ranking.without_best_tempo()
    return None


def _steady_or_slowing(music: Evidence, ranking: Ranking, statements: Statements, sample_rate_hz: int) -> SongMeasures:
    """One tempo throughout, or up to an ending that slows down."""
    clock = _slowing_clock(music, ranking)
    if clock is None:
        return _steady(music, ranking, statements, sample_rate_hz)
    sign = statements.sign_for(ranking.best.meter.sign)
    return _moving(music.warped(clock.to_even), ranking, clock, "slowing", sign, sample_rate_hz)


def _is_gathered(music: Evidence, song: SongMeasures, kind: str) -> bool:
    """Whether the attacks lie on the beats found more than any grid fitted to free playing would make them."""
    played = ~music.onset_is_bass
    lag = coherent_lag(music.onset_s[played], music.onset_weight[played], np.array(song.beats_s))
    if lag is None:
        return True  # too few attacks to say: confidence tells
    least = _LEAST_GATHERED_FOLLOWED if kind == "drift" else _LEAST_GATHERED
    return lag.coherence * float(np.sqrt(played.sum())) >= least


def _slowing_clock(music: Evidence, ranking: Ranking) -> Clock | None:
    fit = ranking.fits[ranking.best.fit]
    places = [place.offset_s for place in fit.places if place.share > LEAST_PLACE * fit.explained]
    slowing = find_slowing(music, fit.period_s, np.array([ranking.best.beat_s, *places]))
    return slowing_clock(music, fit.period_s, slowing) if slowing else None


def _laid_out(music: Evidence, ranking: Ranking, period_s: float) -> tuple[Layout, Ranking]:
    """Bars of one length, or with the odd bars that the song has; then the bar lines are as sure as those make them."""
    best = ranking.best
    middle_s = float(np.median(music.onset_s))
    beat_s = best.beat_s + round((middle_s - best.beat_s) / best.period_s) * best.period_s
    beats = round((beat_s - best.bar_s) / best.period_s) % best.meter.beats
    beat_s = refine_phase(music, period_s, beat_s)
    prepared = prepare(music)
    table = beat_table(prepared, period_s, beat_s)
    slipped = find_slips(prepared, table, best.meter, price=ranking.odd_price) if table else None
    if table is None or slipped is None:
        downbeat_s = beat_s - beats * period_s
        return lay_out(music, period_s=period_s, downbeat_s=downbeat_s, beats_per_bar=best.meter.beats), ranking
    downbeat_s = float(table.beat_s[slipped.downbeat])
    layout = lay_out(music, period_s=period_s, downbeat_s=downbeat_s, beats_per_bar=best.meter.beats)
    odd = [(float(table.beat_s[slip.beat]), slip.beats) for slip in slipped.slips]
    last_s = music_span(music)[1]
    layout = with_odd_bars(layout, odd, last_s=last_s, period_s=period_s, beats_per_bar=best.meter.beats)
    return layout, replace(ranking, share_of_bars=slipped.confidence)


def _steady(music: Evidence, ranking: Ranking, statements: Statements, sample_rate_hz: int) -> SongMeasures:
    fit = ranking.fits[ranking.best.fit]
    chosen = set_tempo(refined_bpm(music, fit, ranking.best.beat_s), fit.bpm_error, stated_bpm=statements.bpm)
    layout, ranking = _laid_out(music, ranking, float(60 / chosen.bpm))
    tempo = Tempo(
        kind="constant",
        bpm=float(chosen.bpm),
        bpm_exact=str(chosen.bpm),
        bpm_low=chosen.low,
        bpm_high=chosen.high,
        source="music",
        residual_ms=_residual_ms(fit),
        confidence=round(ranking.tempo_confidence, 4),
        alternatives=at_levels_of(alternatives(ranking, layout.bar_one_s), float(chosen.bpm)),
    )
    sign = statements.sign_for(ranking.best.meter.sign)
    tempo_map = _odd_map(layout, float(chosen.bpm), sign) if layout.bar_beats else ()
    return _measures(music, ranking, layout, tempo, tempo_map, sample_rate_hz, sign=sign)


def _odd_map(layout: Layout, bpm: float, sign: str) -> tuple[MapSegment, ...]:
    """One tempo throughout, with a segment for each odd bar."""
    segments = segments_through(layout, sign=sign, tolerance_s=_MAP_TOLERANCE_S)
    return tuple(replace(segment, bpm=bpm) for segment in segments)


def _moving(
    even: Evidence,
    ranking: Ranking,
    clock: Clock,
    kind: str,
    sign: str,
    sample_rate_hz: int,
    *,
    piecewise: PiecewiseTempo | None = None,
) -> SongMeasures:
    """`even` is the music on its own clock; everything is laid out there and restored."""
    fit = ranking.fits[ranking.best.fit]
    layout, ranking = _laid_out(even, ranking, piecewise.period_s(fit.period_s) if piecewise else fit.period_s)
    others = tuple(_on_clock_of(clock, other) for other in alternatives(ranking, layout.bar_one_s))
    layout = layout.on(clock.to_real)
    changes_s = piecewise.changes_s if piecewise else None
    segments = segments_through(layout, sign=sign, tolerance_s=_MAP_TOLERANCE_S, changes_s=changes_s)
    beats = layout.beats_s
    mean_bpm = 60 * (len(beats) - 1) / float(beats[-1] - beats[0])
    bpm = mean_bpm if kind == "drift" or not segments else segments[0].bpm
    tempo = replace(_map_tempo(bpm, segments, ranking), residual_ms=_residual_ms(fit), alternatives=others)
    first_s = float(clock.to_real(np.array([even.first_sound_s]))[0])
    return _measures(even, ranking, layout, tempo, segments, sample_rate_hz, sign=sign, first_sound_s=first_s)


def _map_tempo(bpm: float, segments: Sequence[MapSegment], ranking: Ranking) -> Tempo:
    return Tempo(
        kind="map",
        bpm=round(bpm, 4),
        bpm_low=min((segment.bpm for segment in segments), default=None),
        bpm_high=max((segment.bpm for segment in segments), default=None),
        source="music",
        confidence=round(ranking.tempo_confidence, 4),
    )


def _on_clock_of(clock: Clock, other: Alternative) -> Alternative:
    """The same reading with its bar one in the files' time."""
    return replace(other, bar_one_s=round(float(clock.to_real(np.array([other.bar_one_s]))[0]), TIME_DECIMALS))


def _measures(
    music: Evidence,
    ranking: Ranking,
    layout: Layout,
    tempo: Tempo,
    tempo_map: tuple[MapSegment, ...],
    sample_rate_hz: int,
    *,
    sign: str,
    first_sound_s: float | None = None,
) -> SongMeasures:
    return measures_from(
        layout,
        tempo,
        sign=sign,
        confidences=(ranking.meter_confidence, ranking.bar_confidence),
        first_sound_s=music.first_sound_s if first_sound_s is None else first_sound_s,
        sample_rate_hz=sample_rate_hz,
        tempo_map=tempo_map,
    )


def _residual_ms(fit: GridFit) -> float:
    return round(1000 * fit.spread_s, 2)
