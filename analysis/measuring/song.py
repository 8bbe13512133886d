"""Measure a song from its files' surveys: tempo, bars, bar one and what someone should know about them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis import ENGINE_VERSION
from analysis.bars.measures import with_music
from analysis.bars.song_measures import no_grid
from analysis.bars.statements import Statements, gather_statements
from analysis.core.reports import Brief, FileReport, SongMeasures, SongReport
from analysis.core.threads import on_one_thread
from analysis.core.thresholds import Limits
from analysis.features.attacks import attacks_of
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.sections import find_sections
from analysis.given_grid.click_fit import compare_click
from analysis.given_grid.click_measures import with_click
from analysis.given_grid.click_track import ClickTrack, find_click
from analysis.given_grid.midi_measures import with_midi
from analysis.lineup.compare_files import compare_files
from analysis.lineup.stem_lag import Lag, lag_on_grid, median_lag_s
from analysis.rules.places import with_bars
from analysis.rules.song_rules import SongFacts, song_findings
from analysis.rules.stated_rules import stated_findings
from analysis.tempo.evidence import Evidence, pool


@dataclass(frozen=True)
class SongFile:
    """One surveyed file. `path` leads to the sound itself, for the few questions that need a look at samples."""

    report: FileReport
    features: Features
    path: Path | None = None


@on_one_thread
def measure_song(files: Sequence[SongFile], brief: Brief | None = None, *, limits: Limits | None = None) -> SongReport:
    """Measure all files of one song together. Safe on any input: where there is no answer, the report has none."""
    brief, limits = brief or Brief(), limits or Limits()
    clicks = [None if file.report.name in brief.not_clicks else find_click(file.features) for file in files]
    compared = compare_files(_told_clicks(files, clicks), limits=limits)
    reports = compared.reports
    click, music_indices = _first(clicks), music_among(reports)
    music = pool([files[index].features for index in music_indices])
    statements, sample_rate_hz = gather_statements(brief, reports), _sample_rate_hz(reports)
    song = _measures(click, music, statements, sample_rate_hz)
    song = _with_sections(song, music, [files[index].features for index in music_indices])
    facts = SongFacts(
        song=song,
        brief=brief,
        reports=reports,
        has_music=music is not None,
        click_name=_name_of(click, clicks, reports),
        music_lag_s=_band_lag_s(music, song) if music else None,
        click_fit=compare_click(click, music, statements, sample_rate_hz) if click and music else None,
        lags={reports[index].name: _lag_of(files[index].features, song) for index in music_indices},
        misplaced=frozenset(item.file for item in compared.findings if item.code == "start-differs" and item.file),
    )
    findings = tuple(finding for report in reports for finding in report.findings) + compared.findings
    findings += (*song_findings(facts, limits), *stated_findings(reports, song, limits))
    return SongReport(files=reports, song=song, findings=with_bars(findings, song), engine=ENGINE_VERSION)


def _told_clicks(files: Sequence[SongFile], clicks: Sequence[ClickTrack | None]) -> list[SongFile]:
    """The files, their reports saying which of them are clicks."""
    return [
        dataclasses.replace(file, report=dataclasses.replace(file.report, is_click=click is not None))
        for file, click in zip(files, clicks, strict=True)
    ]


def _with_sections(song: SongMeasures, music: Evidence | None, files: Sequence[Features]) -> SongMeasures:
    clock = BarClock.from_song(song)
    if music is None or clock is None:
        return song
    return dataclasses.replace(song, sections=find_sections(music, files, clock))


def _name_of(
    click: ClickTrack | None, clicks: Sequence[ClickTrack | None], reports: Sequence[FileReport]
) -> str | None:
    """The file that this click is in."""
    if click is None:
        return None
    return next((report.name for report, found in zip(reports, clicks, strict=True) if found is click), None)


def _band_lag_s(music: Evidence, song: SongMeasures) -> float | None:
    played = ~music.onset_is_bass
    return median_lag_s(music.onset_s[played], music.onset_weight[played], np.array(song.beats_s))


def _lag_of(features: Features, song: SongMeasures) -> Lag | None:
    return lag_on_grid(attacks_of(features), np.array(song.beats_s))


def _first(clicks: Sequence[ClickTrack | None]) -> ClickTrack | None:
    return max((click for click in clicks if click), key=lambda click: len(click.clicks_s), default=None)


def music_among(reports: Sequence[FileReport]) -> list[int]:
    """Which files of a measured song are music: neither click nor silence, and each recording once."""
    seen: set[str] = set()
    found: list[int] = []
    for index, report in enumerate(reports):
        digest = report.audio_digest
        if report.is_click or report.is_silent or (digest and digest in seen):
            continue
        seen.add(digest or "")
        found.append(index)
    return found


def _sample_rate_hz(reports: Sequence[FileReport]) -> int:
    """The rate that most files run at; bar one is counted in its frames."""
    rates = [report.sample_rate_hz for report in reports if report.sample_rate_hz]
    return max(set(rates), key=lambda rate: (rates.count(rate), rate)) if rates else 48_000


def _measures(
    click: ClickTrack | None, music: Evidence | None, statements: Statements, sample_rate_hz: int
) -> SongMeasures:
    """A click's grid beats a MIDI file's, which beats what can be found in the music."""
    if click:
        return with_click(click, music, statements, sample_rate_hz)
    if music is None:
        return no_grid(None, statements)
    on_midi = with_midi(statements.tempo_map, music, sample_rate_hz) if statements.tempo_map else None
    return on_midi or with_music(music, statements, sample_rate_hz)
