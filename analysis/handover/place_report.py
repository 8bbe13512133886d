"""Where a take lies in its song, as a report: readable without what measures it.

Tested in `tests/analysis/handover/test_take_place.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.core.reports import Record
from analysis.delivery.feel_report import FeelReport


@dataclass(frozen=True)
class TakePlace(Record):
    """`begins_s`: the mix's first frame in the time of the client's files, of the map too. `found_by`: "sound" (to the
    sample; `low_frames` to `high_frames` holds it 95 times in 100), "map" or "stated". `feel`, or why there is none."""

    begins_s: float
    found_by: str
    begins_frames: int | None = None
    low_frames: float | None = None
    high_frames: float | None = None
    feel: FeelReport | None = None
    no_feel: str = ""
