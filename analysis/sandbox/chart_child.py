"""Drafts a chart in a child: it compares every bar with every other, and its memory and time are limited as well."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.core.chart_draft import ChartDraft
from analysis.core.errors import SongNotMeasuredError
from analysis.core.reports import FileReport
from analysis.sandbox.child import record_of, run_in_child
from analysis.sandbox.child_jobs import ChartJob


def draft_song_in_child(
    files: Sequence[tuple[FileReport, Path]],
    map: dict[str, Any] | None = None,  # noqa: A002 - the word that people use for it
) -> ChartDraft:
    """Draft a chart from (report, stored features) of each file; `map` is the JSON of a map that was approved."""
    job = ChartJob(
        reports=[report.to_json() for report, _ in files],
        features=[str(features.resolve()) for _, features in files],
        map=map,
    )
    answer, trouble = run_in_child(job)
    draft = None if answer is None else record_of(ChartDraft, answer)
    if draft is None:
        raise SongNotMeasuredError(trouble)
    return draft
