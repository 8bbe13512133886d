"""A take held against the grid in a child: it is a stranger's file as well.

Tested in `tests/analysis/delivery/test_feel.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.delivery.feel_report import FeelReport
from analysis.sandbox.child import record_of, run_in_child
from analysis.sandbox.delivery_jobs import FeelJob


def feel_in_child(
    path: Path,
    *,
    map: dict[str, Any],  # noqa: A002 - the word that people use for it
    starts: Sequence[int] = (),
) -> FeelReport | str:
    """How a take sits against the map's JSON, by the sections that begin at `starts`; or why that cannot be said, as
    a sentence without its full stop."""
    answer, trouble = run_in_child(FeelJob(path=str(path.resolve()), map=map, starts=list(starts)))
    if answer is None:
        return f"this file {trouble}"
    return str(answer["refused"]) if "refused" in answer else record_of(FeelReport, answer) or f"this file {trouble}"
