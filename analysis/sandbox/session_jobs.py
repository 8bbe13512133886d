"""What a measuring child is told when a session is put together: the timeline, and each file laid on it.

Tested in `tests/analysis/sandbox/test_session_children.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from analysis.core.reports import Record


@dataclass(frozen=True)
class PlanJob(Record):
    """`lengths_s` are fractions as text. The answer is the timeline, or the `trouble` that the map makes."""

    engine: ClassVar = "analysis.session.timeline"
    paths: list[str]
    lengths_s: list[str]
    map: dict[str, Any]
    settings: dict[str, Any]

    @property
    def reads(self) -> list[str]:
        return self.paths

    def do(self) -> dict[str, Any]:
        from fractions import Fraction

        from analysis.core.errors import MapError
        from analysis.maps.tempo_map import TempoMap
        from analysis.session.settings import SessionSettings
        from analysis.session.timeline import plan_session

        try:
            timeline = plan_session(
                [Path(path) for path in self.paths],
                TempoMap.from_json(self.map),
                SessionSettings.from_json(self.settings),
                lengths_s=[Fraction(length) for length in self.lengths_s],
            )
        except MapError as error:
            return {"trouble": str(error)}
        return timeline.to_json()


@dataclass(frozen=True)
class ConformJob(Record):
    """The answer says what was done, or the `trouble`: the end of "This file ...", or what the map makes of it."""

    engine: ClassVar = "analysis.session.conform"
    path: str
    output_to: str
    timeline: dict[str, Any]
    name: str
    out: str

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import MapError, UnusableFileError
        from analysis.session.conform import conform_file
        from analysis.session.timeline import Timeline

        timeline = Timeline.from_json(self.timeline)
        try:
            done = conform_file(Path(self.path), Path(self.output_to), timeline, name=self.name, out=self.out)
        except (MapError, UnusableFileError) as error:
            return {"trouble": str(error)}
        return done.to_json()
