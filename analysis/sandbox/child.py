"""Measures in a child process that is closed in and has limits: a hostile file harms only its own report.

The child is a fork of a `starter`, never of this process: it inherits no connections and no environment, and its limits
cannot touch the worker. It writes to two files that are made for it here, and what it left in them is believed only as
far as its form goes. A file is surveyed in one; the song's files are compared in one too, since that opens them again.
Nothing numerical is loaded here: this module is for processes that only wait.
"""

from __future__ import annotations

import json
import logging
import os
import stat
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from analysis.core.errors import SongNotMeasuredError
from analysis.core.reports import Brief, FileReport, Record, SongReport
from analysis.core.texts import storable
from analysis.core.thresholds import Limits
from analysis.delivery.agreed import Agreed
from analysis.delivery.check_results import Check, VerifyReport
from analysis.rules.file_rules import unusable_finding
from analysis.sandbox import starting
from analysis.sandbox.child_jobs import (
    OUT_OF_MEMORY,
    OUTPUT_LIMIT_BYTES,
    ChildJob,
    ExcerptJob,
    MixdownJob,
    ProxyJob,
    SongJob,
    SurveyJob,
)
from analysis.sandbox.delivery_jobs import VerifyJob
from analysis.sandbox.handover_jobs import PictureJob, RepairJob
from analysis.sandbox.session_jobs import ConformJob
from analysis.sandbox.starter import COMPLAINTS, ORDER

_MAKING_JOBS = (SurveyJob, ProxyJob, ExcerptJob, MixdownJob, ConformJob, RepairJob, PictureJob)
_R = TypeVar("_R", bound=Record)

logger = logging.getLogger(__name__)

# House choices. Twenty times what three hours at 96 kHz take on one slow core.
_TIME_LIMIT_S = 1_200.0
# Address space, not resident memory: libraries alone map half of this.
_MEMORY_LIMIT_BYTES = 3 * 2**30
_ANSWER_BYTES_PER_FILE = 2 * 2**20  # a larger answer is taken for none
_COMPLAINT_BYTES = 2_000  # that are logged
# Hidden, and unlike any name that a person gives a folder: the portal removes what is old under this name.
FOLDER_PREFIX = ".kitpost-job-"
LINE = starting.Line("-m", "analysis.sandbox.starter")
os.register_at_fork(after_in_child=LINE.forget)


def survey_in_child(
    path: Path,
    *,
    name: str,
    features_to: Path,
    limits: Limits | None = None,
    time_limit_s: float = _TIME_LIMIT_S,
    memory_limit_bytes: int = _MEMORY_LIMIT_BYTES,
) -> FileReport:
    """Measure one file; write its features to `features_to`. Never raises for what a file holds."""
    job = SurveyJob(
        path=str(path.resolve()),
        name=name,
        output_to=str(features_to.resolve()),
        limits=(limits or Limits()).to_json(),
    )
    answer, trouble = run_in_child(job, time_limit_s, memory_limit_bytes)
    if answer is not None and (report := record_of(FileReport, answer)):
        return report
    from analysis.media.hashes import sha256_of_file

    # Hashing reads bytes and understands none of them: it is safe here, and the report must name the file.
    findings = (unusable_finding(name, code="unreadable", reason=trouble),)
    return FileReport(name=name, sha256=sha256_of_file(path), findings=findings)


def measure_song_in_child(
    files: Sequence[tuple[FileReport, Path, Path | None]],
    brief: Brief,
    *,
    limits: Limits | None = None,
    time_limit_s: float = _TIME_LIMIT_S,
    memory_limit_bytes: int = _MEMORY_LIMIT_BYTES,
) -> SongReport:
    """Measure a song from (report, stored features, sound) of each file.

    If the files' sound makes that fail, it is done again from the stored features alone, which are our own.
    """
    job = SongJob(
        reports=[report.to_json() for report, _, _ in files],
        features=[str(features.resolve()) for _, features, _ in files],
        paths=[str(path.resolve()) if path else None for _, _, path in files],
        brief=brief.to_json(),
        limits=(limits or Limits()).to_json(),
    )
    answer, _ = run_in_child(job, time_limit_s, memory_limit_bytes)
    if answer is None:
        answer, trouble = run_in_child(job.without_sound(), time_limit_s, memory_limit_bytes)
    report = None if answer is None else record_of(SongReport, answer)
    if report is None:
        raise SongNotMeasuredError(trouble)
    return report


def verify_set_in_child(
    paths: Sequence[Path],
    *,
    map: dict[str, Any] | None = None,  # noqa: A002 - the word that people use for it
    against: Path | None = None,
    originals: Sequence[Path] = (),
    perspective: str = "",
    agreed: Agreed | None = None,
    labels: dict[str, str] | None = None,
    time_limit_s: float = _TIME_LIMIT_S,
    memory_limit_bytes: int = _MEMORY_LIMIT_BYTES,
) -> VerifyReport:
    """Check a multitrack as a set; `map` is the map's JSON. Where that ends badly, one failed check says so.

    The last part of a path is the file's name, so links are not followed here.
    """
    job = VerifyJob(
        paths=[str(path.absolute()) for path in paths],
        map=map,
        against=str(against.absolute()) if against else None,
        originals=[str(path.absolute()) for path in originals],
        perspective=perspective,
        agreed=(agreed or Agreed()).to_json(),
        labels=labels or {},
    )
    answer, trouble = run_in_child(job, time_limit_s, memory_limit_bytes)
    if answer is not None and (report := record_of(VerifyReport, answer)):
        return report
    message = f"The check of the set could not finish: it {trouble}."
    return VerifyReport(passed=False, checks=(Check("checked", None, passed=False, message=message),))


def write_proxy_in_child(
    path: Path,
    to: Path,
    *,
    time_limit_s: float = _TIME_LIMIT_S,
    memory_limit_bytes: int = _MEMORY_LIMIT_BYTES,
) -> str | None:
    """Write the copy that any browser plays. None when it is there, else why not: the end of "This file ..."."""
    job = ProxyJob(path=str(path.resolve()), output_to=str(to.resolve()))
    answer, trouble = run_in_child(job, time_limit_s, memory_limit_bytes)
    return trouble if answer is None else None


def write_excerpt_in_child(
    paths: Sequence[Path],
    to: Path,
    *,
    map: dict[str, Any],  # noqa: A002 - the word that people use for it
    first_bar: int,
    bars: int,
    sample_rate_hz: int,
) -> str | None:
    """Write some bars of the files with the click on top. None when it is there, else why not, as above."""
    job = ExcerptJob(
        paths=[str(path.resolve()) for path in paths],
        map=map,
        output_to=str(to.resolve()),
        first_bar=first_bar,
        bars=bars,
        sample_rate_hz=sample_rate_hz,
    )
    answer, trouble = run_in_child(job, _TIME_LIMIT_S, _MEMORY_LIMIT_BYTES)
    return trouble if answer is None else None


def layers_that_hold() -> tuple[str, ...]:
    """The layers of `confinement` that this machine offers, found by a child that puts them on."""
    done = subprocess.run(
        [*starting.PYTHON, "-m", "analysis.sandbox.confinement"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        env=starting.environment(),
        check=False,
    )
    return tuple(json.loads(done.stdout)) if done.returncode == 0 else ()


def run_in_child(
    job: ChildJob,
    time_limit_s: float = _TIME_LIMIT_S,
    memory_limit_bytes: int = _MEMORY_LIMIT_BYTES,
    output_limit_bytes: int = OUTPUT_LIMIT_BYTES,
) -> tuple[dict[str, Any] | None, str]:
    """The child's answer, or None and what went wrong, as the end of the sentence "This file ..."."""
    output_to = Path(job.output_to) if isinstance(job, _MAKING_JOBS) else None
    with tempfile.TemporaryDirectory(prefix=FOLDER_PREFIX, dir=output_to.parent if output_to else None) as folder:
        answered, made = Path(folder, "answer.json"), Path(folder, "output")
        order = job.to_json() | {
            "kind": type(job).__name__,
            "answer_to": str(answered),
            "memory_limit_bytes": memory_limit_bytes,
            "time_limit_s": time_limit_s,
            "output_limit_bytes": output_limit_bytes,
        }
        answered.touch()
        if output_to:
            order["output_to"] = str(made)
            made.touch()
        trouble = _wait_for_child(order, folder, time_limit_s)
        answer = None if trouble else _read_answer(answered, most_bytes=_ANSWER_BYTES_PER_FILE * max(1, len(job.reads)))
        if answer is not None and output_to and _is_plain_file(made):
            made.replace(output_to)
    return answer, trouble or "could not be measured"


def _wait_for_child(order: dict[str, Any], folder: str, time_limit_s: float) -> str | None:
    Path(folder, ORDER).write_text(json.dumps(order), "utf-8")
    try:
        status = LINE.run(order["kind"], folder=folder, time_limit_s=time_limit_s)
    except TimeoutError:
        return f"took more than {time_limit_s:.0f} seconds to read"
    if status == 0:
        return None
    logger.warning("child ended with %s: %s", status, _end_of(Path(folder, COMPLAINTS)))
    return "needs more memory than the limit for a song" if status == OUT_OF_MEMORY else "made the decoder fail"


def _end_of(complaints: Path) -> str:
    """A file of the child's, which its limits hold for: it is never read whole."""
    if not complaints.exists() or not _is_plain_file(complaints):
        return ""
    with complaints.open("rb") as file:
        file.seek(max(0, file.seek(0, os.SEEK_END) - _COMPLAINT_BYTES))
        text = file.read(_COMPLAINT_BYTES).decode("utf-8", "replace")
    # Lines of a child's are told from the log's own, and no sign of theirs reaches a terminal.
    return "".join(f"\n  | {''.join(filter(str.isprintable, line))}" for line in text.splitlines())


def _is_plain_file(path: Path) -> bool:
    """Not a link that leads elsewhere, nor another name of a file of ours."""
    found = path.lstat()
    return stat.S_ISREG(found.st_mode) and found.st_nlink == 1


def _read_answer(answered: Path, *, most_bytes: int) -> dict[str, Any] | None:
    try:
        if not _is_plain_file(answered) or answered.stat().st_size > most_bytes:
            return None
        answer = storable(json.loads(answered.read_text("utf-8"), parse_constant=_refuse))
    except (OSError, ValueError, RecursionError):
        return None
    return answer if isinstance(answer, dict) else None


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no number")


def record_of(kind: type[_R], answer: dict[str, Any]) -> _R | None:
    """None for an answer that has not the form of this kind of record."""
    try:
        return kind.from_json(answer)
    except (TypeError, AttributeError, ValueError):
        return None
