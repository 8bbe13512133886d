"""Makes the click and the tempo-map file of an approved map, at the rate of the client's files."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.db.models import F, OuterRef, Subquery
from django.utils import timezone

from analysis.core import tempo_in_figures
from analysis.maps import Marker, TempoMap, plan_click, render_blocks, write_midi
from analysis.media import create_sound
from analysis.session import SessionSettings
from portal.charts.models import ChartVersion
from portal.charts.moving import newest_version
from portal.charts.page import sections_on
from portal.intake.models import ApprovedMap
from portal.job_folders import job_folder
from portal.prep.choices import settings_for
from portal.prep.models import PreparedFile
from portal.prep.stored import clear_unnamed, keep
from portal.titles import plain_title

# A song without a single measured file still gets a click to try out.
SHORTEST_BARS = 16
LEFT_ALONE_FOR = timedelta(minutes=5)
# Where a click begins is in its name: one dropped at the wrong place is off by its count-in.
COUNT_IN_FIRST, STARTS_WITH_FILES = "count-in-before-files", "starts-with-files"

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Job:
    """What is made, and how."""

    tempo_map: TempoMap
    bars: int
    settings: SessionSettings
    stem: str


def make_files(approved_map_id: int) -> None:
    approved = ApprovedMap.objects.select_related("song__brief").get(pk=approved_map_id)
    job = _job_for(approved)
    with job_folder() as folder:
        click = Path(folder, "click.wav")
        facts = _write_click(job, click)
        name = f"{job.stem}_click_{COUNT_IN_FIRST if facts['lead_s'] > 0 else STARTS_WITH_FILES}.wav"
        keep(approved, PreparedFile.Kind.CLICK, click, facts=facts, name=name)
        if facts["lead_s"] > 0:
            # Dropped at the same place as the files by habit, the first one would be early by its count-in.
            facts = _write_click(job, click, with_files=True)
            name = f"{job.stem}_click_{STARTS_WITH_FILES}.wav"
            keep(approved, PreparedFile.Kind.WITH_FILES, click, facts=facts, name=name)
        _make_tempo_map(approved, job, Path(folder, "tempo-map.mid"))
    logger.info("map %s: click and tempo-map file made", approved_map_id)


def make_tempo_map_anew(approved_map_id: int) -> None:
    """With the chart's sections as they are now. Before the first one is there nothing: it comes after the clicks."""
    approved = ApprovedMap.objects.select_related("song__brief").get(pk=approved_map_id)
    before = approved.prepared.filter(kind=PreparedFile.Kind.TEMPO_MAP).first()
    if before is None:
        return
    with job_folder() as folder:
        _make_tempo_map(approved, _job_for(approved), Path(folder, "tempo-map.mid"))
    clear_unnamed([before.key])


def _make_tempo_map(approved: ApprovedMap, job: Job, path: Path) -> None:
    """Its markers are the sections of the song's chart, where it has one."""
    facts: dict[str, Any] = {"bars": job.bars, "bar_one_s": float(job.tempo_map.bar_one_s)}
    sections, version = sections_on(approved.song, approved), newest_version(approved.song)
    if version:
        facts["chart"] = version.number
    markers = [Marker(bar, name) for bar, name in sections or () if bar <= job.bars]
    facts["markers"] = len(markers)
    write_midi(job.tempo_map, path, bars=job.bars, markers=markers)
    keep(approved, PreparedFile.Kind.TEMPO_MAP, path, facts=facts, name=f"{job.stem}_tempo-map.mid")


def left_alone() -> list[int]:
    """Approved maps without their last file, some time after they were approved."""
    maps = ApprovedMap.objects.filter(approved_at__lt=timezone.now() - LEFT_ALONE_FOR)
    return list(maps.exclude(prepared__kind=PreparedFile.Kind.TEMPO_MAP).values_list("pk", flat=True))


def tempo_maps_left_alone() -> list[int]:
    """Maps in use whose tempo-map file has the sections of an older chart, some time after the newest was saved."""
    song = OuterRef("approved_map__song")
    charts = ChartVersion.objects.filter(song=song)
    files = PreparedFile.objects.filter(kind=PreparedFile.Kind.TEMPO_MAP).annotate(
        map_in_use=Subquery(ApprovedMap.objects.filter(song=song).values("pk")[:1]),
        chart=Subquery(charts.values("number")[:1]),
        chart_saved_at=Subquery(charts.values("saved_at")[:1]),
    )
    named = files.filter(approved_map=F("map_in_use"), chart_saved_at__lt=timezone.now() - LEFT_ALONE_FOR)
    found = named.values_list("approved_map", "facts", "chart")
    return [approved for approved, facts, chart in found if facts.get("chart") != chart]


def _job_for(approved: ApprovedMap) -> Job:
    tempo_map = TempoMap.from_json(approved.map)
    reports = [source.numbers for source in approved.song.sources.current()]
    lengths_s = [report.duration_s for report in reports if report and report.duration_s]
    bpm = tempo_in_figures(tempo_map.first_in_time.bpm)
    return Job(
        tempo_map=tempo_map,
        bars=max(tempo_map.bar_beat_at(max(lengths_s)).bar, SHORTEST_BARS) if lengths_s else SHORTEST_BARS,
        settings=settings_for(approved),
        stem=f"{plain_title(approved.song.title)}_{bpm}bpm_v{approved.version}",
    )


def _write_click(job: Job, to: Path, *, with_files: bool = False) -> dict[str, Any]:
    settings = job.settings
    plan = plan_click(
        job.tempo_map,
        bars=job.bars,
        count_in_bars=settings.count_in_bars,
        sample_rate_hz=settings.sample_rate_hz,
        with_files=with_files,
        style=settings.click,
    )
    with create_sound(
        to, sample_rate_hz=plan.sample_rate_hz, channels=1, bit_depth=settings.bit_depth, frames=plan.frames
    ) as file:
        for samples in render_blocks(plan, style=settings.click):
            file.write(samples)
    return {
        "bars": job.bars,
        "count_in_bars": plan.count_in_bars,
        "free_passages": len(job.tempo_map.free_stretches),
        "sample_rate_hz": plan.sample_rate_hz,
        "bit_depth": settings.bit_depth,
        "bar_one_frame": plan.bar_one_frame,
        "lead_s": float(plan.lead_s),
        "made_with": settings.to_json(),
        **settings.click.to_json(),
    }
