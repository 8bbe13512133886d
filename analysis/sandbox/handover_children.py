"""What is handed over, made in children: drummers' files are strangers' files as well."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analysis.core.errors import RepairError, UnusableFileError
from analysis.handover.place_report import TakePlace
from analysis.handover.repair import Repair, RepairedFile
from analysis.handover.sheet import SheetTrack
from analysis.media.pictures import Picture
from analysis.sandbox.child import record_of, run_in_child
from analysis.sandbox.handover_jobs import PictureJob, PlaceJob, RepairJob, SheetTracksJob

_ROOM_FOR_CHUNKS_BYTES = 2**20  # house choice
# A photograph takes a second; longer than this is no photograph (house choice).
_PICTURE_TIME_LIMIT_S = 30.0


def repair_in_child(path: Path, to: Path, repair: Repair, *, name: str, sound_bytes: int) -> RepairedFile:
    """Write one file of a set anew. `sound_bytes`: the most that its samples take.

    Raises RepairError with a sentence without its full stop where nothing was written.
    """
    job = RepairJob(str(path.resolve()), str(to.resolve()), name, repair.to_json())
    answer, trouble = run_in_child(job, output_limit_bytes=sound_bytes + _ROOM_FOR_CHUNKS_BYTES)
    done = None if answer is None or "trouble" in answer else record_of(RepairedFile, answer)
    if done is None:
        to.unlink(missing_ok=True)
        raise RepairError(str(answer["trouble"]) if answer and "trouble" in answer else f"{name} {trouble}")
    return done


def sheet_tracks_in_child(paths: Sequence[Path]) -> dict[str, SheetTrack]:
    """By the file's name what its sheet says of it; without files that cannot be read. Links are not followed."""
    answer, _ = run_in_child(SheetTracksJob([str(path.absolute()) for path in paths]))
    tracks = (record_of(SheetTrack, one) for one in (answer or {}).get("tracks", ()))
    return {track.file: track for track in tracks if track}


def place_take_in_child(
    path: Path,
    *,
    known_s: Sequence[float],
    music: Path | None,
    map: dict[str, Any] | None,  # noqa: A002 - the word that people use for it
    starts: Sequence[int] = (),
) -> TakePlace:
    """Where a rough mix lies, and its feel by the sections that begin at `starts`. Raises UnusableFileError: "This file
    ..."."""
    job = PlaceJob(str(path.resolve()), list(known_s), str(music.resolve()) if music else None, map, list(starts))
    answer, trouble = run_in_child(job)
    place = None if answer is None or "trouble" in answer else record_of(TakePlace, answer)
    if place is None:
        raise UnusableFileError(str(answer["trouble"]) if answer and "trouble" in answer else trouble)
    return place


def write_picture_in_child(path: Path, to: Path) -> Picture:
    """Write a photograph anew, without what it says besides. Raises UnusableFileError: "This file ..."."""
    job = PictureJob(str(path.resolve()), str(to.resolve()))
    try:
        answer, trouble = run_in_child(job, _PICTURE_TIME_LIMIT_S)
    except ChildProcessError as error:
        raise UnusableFileError(f"could not be read, since {error}: send it again") from error
    done = None if answer is None or "trouble" in answer else record_of(Picture, answer)
    if done is None:
        to.unlink(missing_ok=True)
        raise UnusableFileError(str(answer["trouble"]) if answer and "trouble" in answer else trouble)
    return done
