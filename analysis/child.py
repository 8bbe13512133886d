"""Surveys a file in a child process with limits on memory, time and output: a hostile file harms only its own report.

The child is a fresh interpreter, not a fork: it inherits no connections, and its limits cannot touch the worker.
"""

from __future__ import annotations

import json
import logging
import os
import resource
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from analysis.limits import Limits
from analysis.reports import FileReport
from analysis.rules import unusable_finding

logger = logging.getLogger(__name__)

# Twenty times what three hours at 96 kHz take on one slow core.
TIME_LIMIT_S = 1_200.0
# Address space, not resident memory: libraries alone map half of this.
MEMORY_LIMIT_BYTES = 3 * 2**30
OUTPUT_LIMIT_BYTES = 256 * 2**20
REPORT_LIMIT_BYTES = 8 * 2**20
OPEN_FILES_LIMIT = 64
PACKAGE_PARENT = Path(__file__).resolve().parent.parent
# One thread for each child: the worker runs as many children as there are cores, and waiting threads would only spin.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@dataclass(frozen=True)
class Job:
    """What the child is told on its standard input."""

    path: str
    name: str
    features_to: str
    report_to: str
    limits: dict[str, object]
    memory_limit_bytes: int
    time_limit_s: float


def survey_in_child(
    path: Path,
    *,
    name: str,
    features_to: Path,
    limits: Limits | None = None,
    time_limit_s: float = TIME_LIMIT_S,
    memory_limit_bytes: int = MEMORY_LIMIT_BYTES,
) -> FileReport:
    """Measure one file; write its features to `features_to`. Never raises for what a file holds."""
    with tempfile.TemporaryDirectory(prefix="survey-") as folder:
        report_to = Path(folder) / "report.json"
        job = Job(
            path=str(path.resolve()),
            name=name,
            features_to=str(features_to.resolve()),
            report_to=str(report_to),
            limits=(limits or Limits()).to_json(),
            memory_limit_bytes=memory_limit_bytes,
            time_limit_s=time_limit_s,
        )
        ended = _run(job, folder)
        report = _read_report(report_to)
    if report is not None and ended is None:
        return report
    return _refused(path, name, ended or "could not be measured")


def _run(job: Job, folder: str) -> str | None:
    """None when the child ended well, else what went wrong, as the end of the sentence "This file ..."."""
    command = [sys.executable, "-m", "analysis.child"]
    environment = {
        "PATH": os.defpath,
        "PYTHONPATH": str(PACKAGE_PARENT),
        "TMPDIR": folder,
        "LANG": "C.UTF-8",
    } | ONE_THREAD
    try:
        done = subprocess.run(
            command,
            input=json.dumps(job.__dict__).encode(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            timeout=job.time_limit_s,
            cwd=folder,
            env=environment,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return f"took more than {job.time_limit_s:.0f} seconds to read"
    if done.returncode == 0:
        return None
    logger.warning("survey child ended with %s: %s", done.returncode, done.stderr[-2000:].decode("utf-8", "replace"))
    return "needs more memory than a song may take" if done.returncode == OUT_OF_MEMORY else "made the decoder fail"


OUT_OF_MEMORY = 3


def _read_report(report_to: Path) -> FileReport | None:
    try:
        if report_to.stat().st_size > REPORT_LIMIT_BYTES:
            return None
        return FileReport.from_json(json.loads(report_to.read_text("utf-8")))
    except (OSError, ValueError, TypeError):
        return None


def _refused(path: Path, name: str, reason: str) -> FileReport:
    # Hashing is reading bytes, which no file can make dangerous; without the hash the portal could not name the file.
    from analysis.hashes import sha256_of_file

    findings = (unusable_finding(name, code="unreadable", reason=reason),)
    return FileReport(name=name, sha256=sha256_of_file(path), findings=findings)


def _limit_self(job: Job) -> None:
    """Before anything of the file is read. CPU time backs the parent's clock up, should the parent die."""
    seconds = int(job.time_limit_s) + 5
    limits = (
        (resource.RLIMIT_AS, job.memory_limit_bytes),
        (resource.RLIMIT_CPU, seconds),
        (resource.RLIMIT_FSIZE, OUTPUT_LIMIT_BYTES),
        (resource.RLIMIT_NOFILE, OPEN_FILES_LIMIT),
        (resource.RLIMIT_CORE, 0),
    )
    for kind, wanted in limits:
        hard = resource.getrlimit(kind)[1]
        value = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(kind, (value, value))


def main() -> int:
    job = Job(**json.loads(sys.stdin.buffer.read()))
    _limit_self(job)
    try:
        from analysis.survey import survey_file

        survey = survey_file(Path(job.path), name=job.name, limits=Limits.from_json(job.limits))
        survey.features.save(Path(job.features_to))
        Path(job.report_to).write_text(json.dumps(survey.report.to_json(), allow_nan=False), "utf-8")
    except MemoryError:
        return OUT_OF_MEMORY
    return 0


if __name__ == "__main__":
    sys.exit(main())
