"""Measure a song from its files' surveys: tempo, bars, bar one and what someone should know about them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis import ENGINE_VERSION
from analysis.between import compare_files
from analysis.click_measures import click_offset_s, with_click
from analysis.click_track import ClickTrack, find_click
from analysis.evidence import Evidence, pool
from analysis.features import Features
from analysis.limits import Limits
from analysis.measures import no_grid, with_music
from analysis.reports import Brief, FileReport, SongMeasures, SongReport
from analysis.song_rules import SongFacts, song_findings


@dataclass(frozen=True)
class SongFile:
    """One surveyed file. `path` leads to the sound itself, for the few questions that need a look at samples."""

    report: FileReport
    features: Features
    path: Path | None = None


def measure_song(files: Sequence[SongFile], brief: Brief | None = None, *, limits: Limits | None = None) -> SongReport:
    """Measure all files of one song together. Safe on any input: where there is no answer, the report has none."""
    brief, limits = brief or Brief(), limits or Limits()
    clicks = [find_click(file.features) for file in files]
    reports = tuple(
        dataclasses.replace(file.report, is_click=click is not None) for file, click in zip(files, clicks, strict=True)
    )
    compared = compare_files(
        [dataclasses.replace(file, report=report) for file, report in zip(files, reports, strict=True)], limits=limits
    )
    reports = compared.reports
    click, music = _first(clicks), _music(files, clicks)
    song = _measures(click, music, brief, _sample_rate_hz(reports))
    click_name = next(
        (report.name for report, found in zip(reports, clicks, strict=True) if click and found is click), None
    )
    facts = SongFacts(
        song=song,
        brief=brief,
        reports=reports,
        has_music=music is not None,
        click_name=click_name,
        click_offset_s=click_offset_s(click, music) if click and music else None,
    )
    findings = tuple(finding for report in reports for finding in report.findings) + compared.findings
    return SongReport(files=reports, song=song, findings=findings + song_findings(facts, limits), engine=ENGINE_VERSION)


def _first(clicks: Sequence[ClickTrack | None]) -> ClickTrack | None:
    return max((click for click in clicks if click), key=lambda click: len(click.clicks_s), default=None)


def _music(files: Sequence[SongFile], clicks: Sequence[ClickTrack | None]) -> Evidence | None:
    """The pooled evidence of everything that is neither click nor silence, each recording once."""
    seen: set[str] = set()
    heard: list[Features] = []
    for file, click in zip(files, clicks, strict=True):
        digest = file.report.audio_digest
        if click or file.report.is_silent or (digest and digest in seen):
            continue
        seen.add(digest or "")
        heard.append(file.features)
    return pool(heard)


def _sample_rate_hz(reports: Sequence[FileReport]) -> int:
    """The rate that most files run at; bar one is counted in its frames."""
    rates = [report.sample_rate_hz for report in reports if report.sample_rate_hz]
    return max(set(rates), key=lambda rate: (rates.count(rate), rate)) if rates else 48_000


def _measures(click: ClickTrack | None, music: Evidence | None, brief: Brief, sample_rate_hz: int) -> SongMeasures:
    if click:
        return with_click(click, music, brief, sample_rate_hz)
    return with_music(music, brief, sample_rate_hz) if music else no_grid(None, brief)
