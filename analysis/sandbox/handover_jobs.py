"""The child's jobs about what is handed over: a take's place, a corrected file, the sheet of each track, a picture.

Tested in `tests/analysis/sandbox/test_handover_children.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from analysis.core.reports import Record


@dataclass(frozen=True)
class RepairJob(Record):
    """`name`: what the file is called in its set. The answer says what was done, or the `trouble`, as a sentence
    without its full stop."""

    engine: ClassVar = "analysis.handover.repair"
    path: str
    output_to: str
    name: str
    repair: dict[str, Any]

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import RepairError, UnusableFileError
        from analysis.handover.repair import Repair, repair_file

        try:
            done = repair_file(Path(self.path), Path(self.output_to), Repair.from_json(self.repair), name=self.name)
        except RepairError as error:
            return {"trouble": str(error)}
        except UnusableFileError as error:
            return {"trouble": f"{self.name} {error.reason}"}
        return done.to_json()


@dataclass(frozen=True)
class SheetTracksJob(Record):
    """The answer's `tracks` lacks files that cannot be read."""

    engine: ClassVar = "analysis.handover.sheet"
    paths: list[str]

    @property
    def reads(self) -> list[str]:
        return self.paths

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import UnusableFileError
        from analysis.handover.sheet import track_of

        tracks = []
        for path in self.paths:
            try:
                tracks.append(track_of(Path(path)).to_json())
            except UnusableFileError:
                continue
        return {"tracks": tracks}


@dataclass(frozen=True)
class PlaceJob(Record):
    """The answer is the place, or the `trouble`: the end of "This file ..."."""

    engine: ClassVar = "analysis.handover.take_place"
    path: str
    known_s: list[float]
    music: str | None
    map: dict[str, Any] | None
    starts: list[int]

    @property
    def reads(self) -> list[str]:
        return [self.path, *([self.music] if self.music else [])]

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import UnusableFileError
        from analysis.handover.take_place import place_take
        from analysis.maps.tempo_map import TempoMap

        tempo_map = TempoMap.from_json(self.map) if self.map else None
        music = Path(self.music) if self.music else None
        try:
            return place_take(
                Path(self.path), known_s=self.known_s, music=music, tempo_map=tempo_map, starts=self.starts
            ).to_json()
        except UnusableFileError as error:
            return {"trouble": error.reason}


@dataclass(frozen=True)
class PictureJob(Record):
    """The answer has the picture's size, or the `trouble`: the end of "This file ..."."""

    engine: ClassVar = "analysis.media.pictures"
    path: str
    output_to: str

    @property
    def reads(self) -> list[str]:
        return [self.path]

    def do(self) -> dict[str, Any]:
        from analysis.core.errors import UnusableFileError
        from analysis.media.pictures import write_picture

        try:
            return write_picture(Path(self.path), Path(self.output_to)).to_json()
        except UnusableFileError as error:
            return {"trouble": error.reason}


HandoverJob = RepairJob | SheetTracksJob | PlaceJob | PictureJob
