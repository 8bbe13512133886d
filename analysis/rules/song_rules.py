"""The rules about a song: what is measured, compared with the brief, becomes findings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from analysis.core.reports import Brief, FileReport, Finding, Place, SongMeasures
from analysis.core.thresholds import Limits
from analysis.findings.catalogue import Severity, make_finding
from analysis.given_grid.click_fit import ClickFit
from analysis.lineup.stem_lag import Lag
from analysis.maps.click_drift import click_drift_s
from analysis.maps.tempo_map import MeterSign, TempoMapError, beat_name_of
from analysis.rules.wrong_rate import suspected_rates

# A drift is told as it would be after a song of the usual length (house choice).
_FOUR_MINUTES_S = 240.0
# More changes of tempo than this, or shorter ones, are a drift to whoever reads of them
# (house choices).
_MOST_CHANGES, _LEAST_BARS = 3, 2


@dataclass(frozen=True)
class SongFacts:
    """All that the rules look at. `lags`: how far each music file lies behind the grid; `misplaced`: files already
    known to start elsewhere, by comparing samples."""

    song: SongMeasures
    brief: Brief
    reports: Sequence[FileReport]
    has_music: bool
    click_name: str | None = None
    lags: Mapping[str, Lag | None] = field(default_factory=dict)
    misplaced: frozenset[str] = frozenset()
    music_lag_s: float | None = None
    click_fit: ClickFit | None = None


def song_findings(facts: SongFacts, limits: Limits) -> tuple[Finding, ...]:
    """Everything about the song that someone should know or decide."""
    return tuple(finding for rule in _SONG_RULES for finding in rule(facts, limits))


def _no_music(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    if not facts.has_music and not facts.click_name:
        yield make_finding("no-music")


def _no_click(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """Good to know where the brief states the tempo and promises no click; else the client must say."""
    brief = facts.brief
    if facts.has_music and not facts.click_name and not brief.make_map:
        yield make_finding("no-click", severity=Severity.NOTE if brief.bpm and not brief.click_promised else None)


def _no_tempo(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """Neither a click nor the brief states a tempo, and music alone does not make it sure."""
    if not facts.has_music or facts.click_name or facts.brief.bpm:
        return
    if facts.song.tempo.kind == "none" or facts.song.tempo.confidence < limits.tempo_sure:
        yield make_finding("no-tempo")


def _tempo_unsure(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    tempo = facts.song.tempo
    others = [other for other in tempo.alternatives if tempo.bpm and abs(other.bpm / tempo.bpm - 1) > 0.01]
    if tempo.bpm is None or tempo.kind == "none" or tempo.confidence >= limits.tempo_sure or not others:
        return
    other, meter = others[0], facts.song.meter.sign
    value = {"measured_bpm": tempo.bpm, "other_bpm": other.bpm, "confidence": tempo.confidence}
    value |= beat_counted("measured", meter) | beat_counted("other", other.meter or meter)
    yield make_finding("tempo-unsure", value=value)


def beat_counted(name: str, meter: str) -> dict[str, Any]:
    """Beside `<name>_bpm` in a finding: the note that it counts, where that is not the quarter. What a brief, a name or
    a tag states is left as it was stated."""
    beat = beat_name_of(meter)
    return {} if beat in ("", "quarter") else {f"{name}_beat": beat}


def _tempo_differs(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    said, measured = facts.brief.bpm, facts.song.tempo.bpm
    if not said or not measured or facts.song.tempo.kind == "none" or _agrees(facts, limits):
        return
    value: dict[str, Any] = {
        "said_bpm": said,
        "measured_bpm": measured,
        "drift_ms": 1000 * click_drift_s(measured, said, _FOUR_MINUTES_S),
        **beat_counted("measured", facts.song.meter.sign),
    }
    rates = suspected_rates(said, measured)
    if rates:
        value |= {"file_rate_hz": rates.played_hz, "other_rate_hz": rates.made_hz}
        yield make_finding("wrong-rate-suspected", value=value)
    else:
        yield make_finding("tempo-differs", value=value)


def _agrees(facts: SongFacts, limits: Limits) -> bool:
    """Within the measurement's own interval and the house's tolerance; another level of the same pulse agrees too."""
    tempo, said = facts.song.tempo, facts.brief.bpm or 0.0
    measured = tempo.bpm or 0.0
    reach = max(limits.brief_bpm_tolerance, (tempo.bpm_high or measured) - (tempo.bpm_low or measured))
    if tempo.kind == "map":
        reach = max(reach, limits.brief_map_share * measured)
    return any(abs(said * level - measured) <= reach * max(1.0, level) for level in (1.0, 2.0, 0.5))


def _meter_differs(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    said, meter = facts.brief.meter, facts.song.meter
    if not said or meter.beats_per_bar is None or meter.confidence < limits.meter_sure:
        return
    try:
        sign = MeterSign.parse(said)
    except TempoMapError:
        return
    measured = MeterSign(meter.beats_per_bar, meter.beat_unit or 4)
    if sign.beats_per_bar % measured.beats_per_bar and measured.beats_per_bar % sign.beats_per_bar:
        yield make_finding("meter-differs", value={"said_meter": said, "measured_meter": str(measured)})


def _bar_one(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """The brief says what the files begin with; the measured bar one may say otherwise."""
    one, brief = facts.song.bar_one, facts.brief
    if one.time_s is None or facts.song.tempo.kind == "none":
        return
    if one.pickup_beats and brief.starts != "pickup":
        place = Place(time_s=facts.song.first_sound_s, bar=0)
        yield make_finding("pickup", place=place, value={"beats": one.pickup_beats})
    late = brief.starts == "bar-one" and one.time_s > limits.bar_one_late_s
    if late and one.confidence >= limits.bar_one_sure:
        place = Place(time_s=one.time_s, bar=1, beat=1.0)
        yield make_finding("bar-one-late", place=place, value={"said": "at bar one", "bar_one_s": one.time_s})


def _moving_tempo(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """A few long stretches are changes of tempo, each named at its place; anything else is a drift."""
    segments = facts.song.tempo_map
    pairs = [(one, two) for one, two in pairwise(segments) if one.bpm != two.bpm]
    if facts.song.tempo.kind != "map" or not pairs:
        return
    bpms = [segment.bpm for segment in segments]
    if len(pairs) <= _MOST_CHANGES and all(two.bar - one.bar >= _LEAST_BARS for one, two in pairs[1:]):
        for one, two in pairs:
            value = {"from_bpm": one.bpm, "to_bpm": two.bpm}
            value |= beat_counted("from", one.meter) | beat_counted("to", two.meter)
            yield make_finding("tempo-changes", place=Place(time_s=two.time_s, bar=two.bar), value=value)
    else:
        _, changed = pairs[0]
        place = Place(time_s=changed.time_s, bar=changed.bar)
        value = {"low_bpm": min(bpms), "high_bpm": max(bpms)} | beat_counted("high", facts.song.meter.sign)
        yield make_finding("tempo-drifts", place=place, value=value)


def _odd_bars(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """Single bars of another meter among the song's own."""
    usual = facts.song.meter
    if usual.beats_per_bar is None or facts.song.tempo.source != "music":
        return
    sign = MeterSign(usual.beats_per_bar, usual.beat_unit or 4)
    for segment in facts.song.tempo_map:
        odd = MeterSign.parse(segment.meter)
        if odd != sign:
            value: dict[str, Any] = {"beats": odd.beats_per_bar, "usual_beats": sign.beats_per_bar}
            value |= {"odd_meter": str(odd), "usual_meter": str(sign)}
            yield make_finding("odd-bar", place=Place(time_s=segment.time_s, bar=segment.bar), value=value)


def _clear_lags(facts: SongFacts, limits: Limits) -> dict[str, Lag]:
    return {name: lag for name, lag in facts.lags.items() if lag and lag.coherence >= limits.lag_coherence}


def _click_differs(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """The music keeps a steady distance from the click."""
    fit = facts.click_fit
    if not facts.click_name or facts.music_lag_s is None or (fit and fit.music_bpm):
        return
    offset_s = limits.usual_lag_s - facts.music_lag_s
    if abs(offset_s) > limits.click_differs_s:
        rates = {report.name: report.sample_rate_hz for report in facts.reports}
        value = {"offset_ms": abs(1000 * offset_s), "later_or_earlier": "later" if offset_s > 0 else "earlier"}
        value["offset_frames"] = round(abs(offset_s) * (rates.get(facts.click_name) or 48_000))
        yield make_finding("click-differs", file=facts.click_name, value=value)


def _click_tempo(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """Click and music run at two tempos."""
    fit = facts.click_fit
    if fit and fit.music_bpm:
        drift_ms = 1000 * abs(click_drift_s(fit.music_bpm, fit.click_bpm, fit.music_to_s - fit.music_from_s))
        value = {"click_bpm": fit.click_bpm, "measured_bpm": fit.music_bpm, "drift_ms": drift_ms}
        meter = facts.song.meter.sign
        value |= beat_counted("click", meter) | beat_counted("measured", meter)
        yield make_finding("click-tempo-differs", file=facts.click_name, value=value)


def _click_short(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """The click begins after the band, or stops before it."""
    fit = facts.click_fit
    if not fit:
        return
    late_s, early_s = fit.click_from_s - fit.music_from_s, fit.music_to_s - fit.click_to_s
    if late_s > limits.click_late_bars * fit.bar_s or early_s > limits.click_short_bars * fit.bar_s:
        value = {"click_from_s": fit.click_from_s, "click_to_s": fit.click_to_s}
        value |= {"music_from_s": fit.music_from_s, "music_to_s": fit.music_to_s}
        yield make_finding("click-short", file=facts.click_name, value=value)


def _stem_starts(facts: SongFacts, limits: Limits) -> Iterator[Finding]:
    """A stem whose attacks agree with each other, but not with the grid of all the others."""
    lags = _clear_lags(facts, limits)
    if len(lags) < 2 or any(True for _ in _click_differs(facts, limits)):
        return
    rates = {report.name: report.sample_rate_hz for report in facts.reports}
    placed = {report.name for report in facts.reports if report.start_offset_frames is not None}
    has_drums = {report.name for report in facts.reports if report.drums.present}
    for name, lag in lags.items():
        others = sorted(other.seconds for other_name, other in lags.items() if other_name != name)
        # Attacks are never seen early: where all the others are, the late stem has pulled the grid its way.
        late_s = lag.seconds - min(0.0, others[len(others) // 2])
        most_s = limits.drums_late_s if name in has_drums else limits.stem_late_s
        if name in placed or name in facts.misplaced or -limits.stem_early_s <= late_s <= most_s:
            continue
        value = {
            "offset_ms": abs(1000 * late_s),
            "offset_frames": round(abs(late_s) * (rates[name] or 48_000)),
            "later_or_earlier": "later" if late_s > 0 else "earlier",
            "other_file": "the other files' grid",
            "confidence": round(lag.coherence, 2),
            "or_every_ms": round(1000 * lag.spacing_s, 1),
        }
        # Players sit early and late by nature: this is asked, where a lag found in the sound itself would stop.
        yield make_finding("start-differs", file=name, severity=Severity.ASK, value=value)


_SongRule = Callable[[SongFacts, Limits], Iterator[Finding]]
_SONG_RULES: tuple[_SongRule, ...] = (
    _no_music,
    _no_click,
    _no_tempo,
    _tempo_unsure,
    _tempo_differs,
    _meter_differs,
    _bar_one,
    _moving_tempo,
    _odd_bars,
    _click_differs,
    _click_tempo,
    _click_short,
    _stem_starts,
)
