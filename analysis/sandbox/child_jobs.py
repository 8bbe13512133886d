"""What a measuring child is told, and the child itself: it closes itself in, does the work, and writes one JSON answer.

Each job names the files that it reads, and the module of the engine that does the work; `output_to` is the file that it
makes besides its answer.
"""

from __future__ import annotations

import dataclasses
import json
import resource
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, get_args

from analysis.core.reports import Brief, FileReport, Record
from analysis.core.thresholds import Limits
from analysis.sandbox.confinement import confine_self
from analysis.sandbox.delivery_jobs import FeelJob, VerifyJob
from analysis.sandbox.handover_jobs import HandoverJob
from analysis.sandbox.session_jobs import ConformJob, PlanJob

OUT_OF_MEMORY = 3  # exit status; Python itself uses 1 and 2
# House choices, for each file that is written and for files open at once.
OUTPUT_LIMIT_BYTES = 256 * 2**20
OPEN_FILES_LIMIT = 64
_CPU_GRACE_S = 5  # the parent's clock should end the child first (house choice)


@dataclass(frozen=True)
class SurveyJob(Record):
    engine: ClassVar = "analysis.measuring.survey"
    path: str
    name: str
    output_to: str
    limits: dict[str, Any]

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.measuring.survey import survey_file

        survey = survey_file(Path(self.path), name=self.name, limits=Limits.from_json(self.limits))
        survey.features.save(Path(self.output_to))
        return survey.report.to_json()


@dataclass(frozen=True)
class SongJob(Record):
    """`features` are files of our own, `paths` lead to the sound that they were made from."""

    engine: ClassVar = "analysis.measuring.song"
    reports: list[dict[str, Any]]
    features: list[str]
    paths: list[str | None]
    brief: dict[str, Any]
    limits: dict[str, Any]

    @property
    def reads(self) -> list[str]:
        return [*self.features, *(path for path in self.paths if path)]

    def without_sound(self) -> SongJob:
        return dataclasses.replace(self, paths=[None] * len(self.paths))

    def do(self) -> dict[str, Any]:
        from analysis.features.feature_arrays import Features
        from analysis.measuring.song import SongFile, measure_song

        files = [
            SongFile(
                FileReport.from_json(report),
                Features.load(Path(features)),
                Path(path) if path else None,
            )
            for report, features, path in zip(self.reports, self.features, self.paths, strict=True)
        ]
        report = measure_song(files, Brief.from_json(self.brief), limits=Limits.from_json(self.limits))
        return report.to_json()


@dataclass(frozen=True)
class ChartJob(Record):
    """`features` are files of our own: no sound is opened."""

    engine: ClassVar = "analysis.measuring.chart"
    reports: list[dict[str, Any]]
    features: list[str]
    map: dict[str, Any] | None

    @property
    def reads(self) -> list[str]:
        return self.features

    def do(self) -> dict[str, Any]:
        from analysis.features.feature_arrays import Features
        from analysis.maps.tempo_map import TempoMap
        from analysis.measuring.chart import draft_song
        from analysis.measuring.song import SongFile

        files = [
            SongFile(FileReport.from_json(report), Features.load(Path(features)))
            for report, features in zip(self.reports, self.features, strict=True)
        ]
        return draft_song(files, TempoMap.from_json(self.map) if self.map else None).to_json()


@dataclass(frozen=True)
class ProxyJob(Record):
    engine: ClassVar = "analysis.media.proxy"
    path: str
    output_to: str

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.media.proxy import write_proxy

        write_proxy(Path(self.path), Path(self.output_to))
        return {}


@dataclass(frozen=True)
class ExcerptJob(Record):
    engine: ClassVar = "analysis.maps.excerpt"
    paths: list[str]
    map: dict[str, Any]
    output_to: str
    first_bar: int
    bars: int
    sample_rate_hz: int

    @property
    def reads(self) -> list[str]:
        return self.paths

    def do(self) -> dict[str, Any]:
        from analysis.maps.excerpt import write_excerpt
        from analysis.maps.tempo_map import TempoMap

        write_excerpt(
            [Path(path) for path in self.paths],
            TempoMap.from_json(self.map),
            Path(self.output_to),
            first_bar=self.first_bar,
            bars=self.bars,
            sample_rate_hz=self.sample_rate_hz,
        )
        return {}


@dataclass(frozen=True)
class MixdownJob(Record):
    engine: ClassVar = "analysis.levels.mixdown"
    paths: list[str]
    output_to: str
    sample_rate_hz: int

    @property
    def reads(self) -> list[str]:
        return self.paths

    def do(self) -> dict[str, Any]:
        from analysis.levels.mixdown import write_mixdown

        paths = [Path(path) for path in self.paths]
        return write_mixdown(paths, Path(self.output_to), sample_rate_hz=self.sample_rate_hz).to_json()


@dataclass(frozen=True)
class MusicXmlJob(Record):
    """The answer holds the chart's JSON and what was left out, or the `trouble` as a sentence."""

    engine: ClassVar = "analysis.engraving.musicxml_reading"
    path: str

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import ChartError
        from analysis.engraving.musicxml_reading import MOST_BYTES, read_musicxml

        try:
            with Path(self.path).open("rb") as file:
                found = read_musicxml(file.read(MOST_BYTES + 1))
        except ChartError as error:
            return {"trouble": str(error)}
        return {"chart": found.chart.to_json(), "left_out": list(found.left_out)}


ChildJob = (
    SurveyJob
    | SongJob
    | ChartJob
    | VerifyJob
    | FeelJob
    | ProxyJob
    | ExcerptJob
    | MixdownJob
    | PlanJob
    | ConformJob
    | MusicXmlJob
    | HandoverJob
)
JOBS: dict[str, type[ChildJob]] = {job.__name__: job for job in get_args(ChildJob)}


def limit_self(*, memory_limit_bytes: int, time_limit_s: float, output_limit_bytes: int = OUTPUT_LIMIT_BYTES) -> None:
    """Before anything of a file is read. CPU time backs up the parent's clock, should the parent die."""
    limits = (
        (resource.RLIMIT_AS, memory_limit_bytes),
        (resource.RLIMIT_CPU, int(time_limit_s) + _CPU_GRACE_S),
        (resource.RLIMIT_FSIZE, output_limit_bytes),
        (resource.RLIMIT_NOFILE, OPEN_FILES_LIMIT),
        (resource.RLIMIT_CORE, 0),
    )
    for kind, wanted in limits:
        hard = resource.getrlimit(kind)[1]
        value = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(kind, (value, value))


def main(told: bytes) -> int:
    """The exit status. `told` is the order as JSON."""
    order = json.loads(told)
    job = JOBS[order["kind"]].from_json(order)
    limit_self(
        memory_limit_bytes=order["memory_limit_bytes"],
        time_limit_s=order["time_limit_s"],
        output_limit_bytes=order["output_limit_bytes"],
    )
    written = [order[name] for name in ("answer_to", "output_to") if name in order]
    confine_self(read=map(Path, job.reads), write=map(Path, written))
    try:
        answer = job.do()
    except MemoryError:
        return OUT_OF_MEMORY
    Path(order["answer_to"]).write_text(json.dumps(answer, allow_nan=False), "utf-8")
    return 0
