"""A session pack's work on strangers' files, in children: planning opens their starts, conforming reads all of one."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from analysis.core.errors import MapError, UnusableFileError
from analysis.sandbox.child import record_of, run_in_child
from analysis.sandbox.session_jobs import ConformJob, PlanJob
from analysis.session.conform import ConformedFile
from analysis.session.settings import SessionSettings
from analysis.session.timeline import Timeline

_MOST_SAMPLE_BYTES = 4
_ROOM_FOR_CHUNKS_BYTES = 2**20  # house choice


def plan_session_in_child(
    paths: Sequence[Path],
    *,
    map: dict[str, Any],  # noqa: A002 - the word that people use for it
    settings: SessionSettings,
    lengths_s: Sequence[Fraction],
) -> Timeline:
    """Raises MapError with a sentence where the song cannot begin as the settings say."""
    job = PlanJob(
        paths=[str(path.resolve()) for path in paths],
        lengths_s=[str(length) for length in lengths_s],
        map=map,
        settings=settings.to_json(),
    )
    answer, trouble = run_in_child(job)
    timeline = None if answer is None or "trouble" in answer else record_of(Timeline, answer)
    if timeline is None:
        raise MapError(str(answer["trouble"]) if answer and "trouble" in answer else f"A file {trouble}.")
    return timeline


def conform_in_child(path: Path, to: Path, timeline: Timeline, *, name: str, channels: int) -> ConformedFile:
    """Write one file of the session, under its name there. Raises UnusableFileError with why not: "This file ..."."""
    job = ConformJob(
        path=str(path.resolve()), output_to=str(to.resolve()), timeline=timeline.to_json(), name=name, out=to.name
    )
    size_bytes = timeline.frames * channels * _MOST_SAMPLE_BYTES + _ROOM_FOR_CHUNKS_BYTES
    answer, trouble = run_in_child(job, output_limit_bytes=size_bytes)
    done = None if answer is None or "trouble" in answer else record_of(ConformedFile, answer)
    if done is None:
        to.unlink(missing_ok=True)
        raise UnusableFileError(str(answer["trouble"]) if answer and "trouble" in answer else trouble)
    return dataclasses.replace(done, name=name, out=to.name)
