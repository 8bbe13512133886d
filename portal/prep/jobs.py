"""Makes the click and the tempo-map file of an approved map, at the rate of the client's files."""

from __future__ import annotations

import logging
import tempfile
from collections import Counter
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import soundfile
from django.utils import timezone

from analysis.maps import DEFAULT_PEAK_DBFS, TempoMap, plan_click, render_blocks, write_midi
from portal.intake.models import ApprovedMap
from portal.prep.models import PreparedFile
from portal.prep.names import plain_title
from portal.uploads import originals

# Two bars before bar one: common practice, unless the brief says otherwise.
COUNT_IN_BARS = 2
SAMPLE_RATE_HZ = 48_000
BIT_DEPTH = 24
# A song without a single measured file still gets a click to try out.
SHORTEST_BARS = 16
LEFT_ALONE_FOR = timedelta(minutes=5)

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Job:
    """What is made, and how."""

    tempo_map: TempoMap
    bars: int
    count_in_bars: int
    sample_rate_hz: int
    stem: str


def make_files(approved_map_id: int) -> None:
    approved = ApprovedMap.objects.select_related("song__brief").get(pk=approved_map_id)
    job = _job_for(approved)
    with tempfile.TemporaryDirectory(prefix="kitpost-") as folder:
        click = Path(folder, "click.wav")
        facts = _write_click(job, click)
        _keep(approved, PreparedFile.Kind.CLICK, click, facts=facts, name=f"{job.stem}_click.wav")
        if facts["lead_s"] > 0:
            # Dropped at the same place as the files by habit, the first one would be early by its count-in.
            facts = _write_click(job, click, with_files=True)
            name = f"{job.stem}_click-with-the-files.wav"
            _keep(approved, PreparedFile.Kind.WITH_FILES, click, facts=facts, name=name)
        midi = Path(folder, "tempo-map.mid")
        write_midi(job.tempo_map, midi, bars=job.bars)
        facts = {"bars": job.bars, "bar_one_s": float(job.tempo_map.bar_one_s)}
        _keep(approved, PreparedFile.Kind.TEMPO_MAP, midi, facts=facts, name=f"{job.stem}_tempo-map.mid")
    logger.info("map %s: click and tempo-map file made", approved_map_id)


def left_alone() -> list[int]:
    """Approved maps without their last file, some time after they were approved."""
    maps = ApprovedMap.objects.filter(approved_at__lt=timezone.now() - LEFT_ALONE_FOR)
    return list(maps.exclude(prepared__kind=PreparedFile.Kind.TEMPO_MAP).values_list("pk", flat=True))


def _job_for(approved: ApprovedMap) -> Job:
    tempo_map = TempoMap.from_json(approved.map)
    reports = [source.numbers for source in approved.song.sources.current()]
    lengths_s = [report.duration_s for report in reports if report and report.duration_s]
    rates_hz = [report.sample_rate_hz for report in reports if report and report.sample_rate_hz]
    rate_hz = Counter(rates_hz).most_common(1)[0][0] if rates_hz else SAMPLE_RATE_HZ
    bpm = f"{float(tempo_map.first_in_time.bpm):.3f}".rstrip("0").rstrip(".")
    return Job(
        tempo_map=tempo_map,
        bars=max(tempo_map.bar_beat_at(max(lengths_s)).bar, SHORTEST_BARS) if lengths_s else SHORTEST_BARS,
        count_in_bars=count_in_of(approved),
        sample_rate_hz=rate_hz,
        stem=f"{plain_title(approved.song.title)}_{bpm}bpm_v{approved.version}",
    )


def count_in_of(approved: ApprovedMap) -> int:
    """As the drummer set it, else as the brief says, else the usual."""
    if approved.count_in_bars is not None:
        return approved.count_in_bars
    return approved.song.brief.count_in_bars or COUNT_IN_BARS


def _write_click(job: Job, to: Path, *, with_files: bool = False) -> dict[str, float | int]:
    plan = plan_click(
        job.tempo_map,
        bars=job.bars,
        count_in_bars=job.count_in_bars,
        sample_rate_hz=job.sample_rate_hz,
        with_files=with_files,
    )
    with soundfile.SoundFile(
        to, "w", samplerate=plan.sample_rate_hz, channels=1, format="WAV", subtype=f"PCM_{BIT_DEPTH}"
    ) as file:
        for samples in render_blocks(plan):
            file.write(samples)
    return {
        "bars": job.bars,
        "count_in_bars": plan.count_in_bars,
        "free_passages": len(job.tempo_map.free_stretches),
        "sample_rate_hz": plan.sample_rate_hz,
        "bit_depth": BIT_DEPTH,
        "peak_dbfs": DEFAULT_PEAK_DBFS,
        "bar_one_frame": plan.bar_one_frame,
        "lead_s": float(plan.lead_s),
    }


def _keep(
    approved: ApprovedMap, kind: PreparedFile.Kind, path: Path, *, facts: dict[str, float | int], name: str
) -> None:
    size_bytes = path.stat().st_size
    sha256 = originals.hash_part(path)
    key = f"prepared/{sha256[:2]}/{sha256}"
    originals.store(path, key=key, sha256=sha256)
    fields = {"name": name, "key": key, "size_bytes": size_bytes, "facts": facts}
    PreparedFile.objects.update_or_create(approved_map=approved, kind=kind, defaults=fields)
