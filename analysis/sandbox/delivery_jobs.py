"""The child's jobs about drums: a delivery as a set, and a take against the grid.

Tested in `tests/analysis/sandbox/test_child.py` and `tests/analysis/delivery/test_feel.py`.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from analysis.core.reports import Record


@dataclass(frozen=True)
class VerifyJob(Record):
    engine: ClassVar = "analysis.delivery.verify"
    paths: list[str]
    map: dict[str, Any] | None
    against: str | None
    originals: list[str] = dataclasses.field(default_factory=list)
    perspective: str = ""
    agreed: dict[str, Any] = dataclasses.field(default_factory=dict)
    labels: dict[str, str] = dataclasses.field(default_factory=dict)

    @property
    def reads(self) -> list[str]:
        return [*self.paths, *self.originals, *([self.against] if self.against else [])]

    def do(self) -> dict[str, Any]:
        from analysis.delivery.agreed import Agreed
        from analysis.delivery.verify import verify_set
        from analysis.maps.tempo_map import TempoMap

        tempo_map = TempoMap.from_json(self.map) if self.map else None
        against = Path(self.against) if self.against else None
        originals = [Path(path) for path in self.originals]
        paths = [Path(path) for path in self.paths]
        agreed = Agreed.from_json(self.agreed)
        return verify_set(
            paths,
            map=tempo_map,
            against=against,
            originals=originals,
            perspective=self.perspective,
            agreed=agreed,
            labels=self.labels,
        ).to_json()


@dataclass(frozen=True)
class FeelJob(Record):
    engine: ClassVar = "analysis.delivery.feel"
    path: str
    map: dict[str, Any]
    starts: list[int]

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        """The report, or why there is none: a take without drums is no fault of its file."""
        from analysis.core.errors import FeelError, UnusableFileError
        from analysis.delivery.feel import feel_of_file
        from analysis.maps.tempo_map import TempoMap

        try:
            return feel_of_file(Path(self.path), TempoMap.from_json(self.map), self.starts).to_json()
        except FeelError as error:
            return {"refused": str(error)}
        except UnusableFileError as error:
            return {"refused": f"this file {error.reason}"}
