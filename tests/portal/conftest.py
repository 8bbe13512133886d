"""The portal's tests measure in their own process: a child takes longer to start than to measure their short sounds.

The child itself, its limits and what ends it have their tests in tests/analysis/sandbox, and every house in tests/flows
starts children. A test here that is about a child asks for one: `@pytest.mark.child`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from analysis.sandbox import child, child_jobs


@pytest.fixture(autouse=True)
def measured_here(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.node.get_closest_marker("child") is None:
        monkeypatch.setattr(child, "_wait_for_child", work_here)


def work_here(order: dict[str, Any], folder: str, time_limit_s: float) -> str | None:
    """As `child_jobs.main` does it, but for what closes the process in."""
    told = json.loads(json.dumps(order))
    try:
        answer = child_jobs.JOBS[told["kind"]].from_json(told).do()
    except Exception:  # noqa: BLE001  whatever it is, it ends a child
        child.logger.exception("measured here")
        return "made the decoder fail"
    Path(told["answer_to"]).write_text(json.dumps(answer, allow_nan=False), "utf-8")
    return None
