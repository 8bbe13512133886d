"""The delivery sheet as data: what was sent, how it was checked, and what the client needs to check what arrived.

A file that arrived unchanged has the same SHA-256. One that was written anew by another program may still hold the same
sound: then its length and its landmarks say so. A landmark is the highest sample of each two seconds; a file that was
moved has its landmarks moved by as much.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.core.blocks import Block
from analysis.core.errors import UnusableFileError
from analysis.core.reports import Record
from analysis.core.sentences import written
from analysis.delivery.channels import LABELS, channel_of, label_of
from analysis.delivery.check_results import Check, VerifyReport
from analysis.maps.tempo_map import TempoMap
from analysis.media.hashes import AudioDigest, sha256_of_file
from analysis.media.reader import open_media

# Raised when a key of the sheet changes its meaning (house choice).
SHEET_SCHEMA = 1
# House choices: the stretch that has one landmark, and the share of them that must have moved alike.
_LANDMARK_S, _AGREE = 2.0, 0.5
# Quieter peaks than -60 dBFS are hiss (house choice).
_QUIET = 1e-3


@dataclass(frozen=True)
class SheetTrack(Record):
    file: str
    sha256: str
    audio_digest: str
    sample_rate_hz: int
    bit_depth: int | None
    channels: int
    frames: int
    landmarks: tuple[int, ...] = ()
    channel: str = ""
    microphone: str = ""
    polarity: str = ""
    take: str = ""
    note: str = ""


@dataclass(frozen=True)
class LetPass(Record):
    """A failed check that was waived, by whom and why. `file` is None for the set as a whole."""

    code: str
    file: str | None
    reason: str
    by: str


@dataclass(frozen=True)
class Sheet(Record):
    """`map` is the tempo map's JSON; `repairs` says what was done to the originals; times are ISO 8601, in UTC.

    `perspective`: whose left is left; `begins`: where the files begin, beside the client's, in words; the map is in the
    time of the files. `note` went with the set, `recall` says how it was recorded, `pictures` are files
    that lie beside the sheet.
    """

    schema: int = SHEET_SCHEMA
    title: str = ""
    made_by: str = ""
    made_at: str = ""
    tracks: tuple[SheetTrack, ...] = ()
    checks: tuple[Check, ...] = ()
    map: dict[str, Any] | None = None
    bar_one_s: float | None = None
    bar_one_frame: int | None = None
    repairs: tuple[str, ...] = ()
    booking: str = ""
    number: int | None = None
    checked_at: str = ""
    perspective: str = ""
    begins: str = ""
    let_pass: tuple[LetPass, ...] = ()
    note: str = ""
    recall: str = ""
    pictures: tuple[str, ...] = ()


@dataclass(frozen=True)
class SheetWords:
    """What people add to a sheet; `microphones` and `notes` by the name of the file."""

    title: str = ""
    made_by: str = ""
    made_at: str = ""
    microphones: dict[str, str] | None = None
    notes: dict[str, str] | None = None
    repairs: tuple[str, ...] = ()


def make_sheet(
    paths: Sequence[Path], report: VerifyReport, *, tempo_map: TempoMap | None = None, words: SheetWords | None = None
) -> Sheet:
    """Read every file once more, as it will be sent. Raises UnusableFileError for one that cannot be read."""
    words = words or SheetWords()
    microphones, notes = words.microphones or {}, words.notes or {}
    tracks = tuple(
        replace(track_of(path), microphone=microphones.get(path.name, ""), note=notes.get(path.name, ""))
        for path in paths
    )
    rate_hz = tracks[0].sample_rate_hz if tracks else None
    return Sheet(
        title=words.title,
        made_by=words.made_by,
        made_at=words.made_at,
        tracks=tracks,
        checks=report.checks,
        map=tempo_map.to_json() if tempo_map else None,
        bar_one_s=float(tempo_map.bar_one_s) if tempo_map else None,
        bar_one_frame=tempo_map.frame_of_bar(1, rate_hz) if tempo_map and rate_hz else None,
        repairs=words.repairs,
    )


def track_of(path: Path) -> SheetTrack:
    """What a file says of itself, read through once. Raises UnusableFileError."""
    with open_media(path) as media:
        facts = media.facts
        digest = AudioDigest(facts.sample_rate_hz, facts.channels)
        landmarks = _Landmarks(facts.sample_rate_hz)
        frames = 0
        for samples in media.blocks():
            block = Block(samples, frames)
            frames += block.frames
            digest.add(block)
            landmarks.add(block)
    channel = channel_of(path.stem)
    return SheetTrack(
        file=path.name,
        sha256=sha256_of_file(path),
        audio_digest=digest.finish(),
        sample_rate_hz=facts.sample_rate_hz,
        bit_depth=facts.bit_depth,
        channels=facts.channels,
        frames=frames,
        landmarks=landmarks.finish(),
        channel=LABELS.get(label_of(path.stem)) or " ".join(part for part in (channel.kind, channel.side) if part),
    )


class _Landmarks:
    """The frame of the highest sample in each stretch."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._length = round(_LANDMARK_S * sample_rate_hz)
        self._best: dict[int, tuple[float, int]] = {}

    def add(self, block: Block) -> None:
        size = np.abs(block.by_channel).max(axis=0)
        done = 0
        while done < len(size):
            stretch = (block.start_frame + done) // self._length
            end = min(len(size), (stretch + 1) * self._length - block.start_frame)
            place = done + int(size[done:end].argmax())
            found = float(size[place]), block.start_frame + place
            if found[0] > max(_QUIET, self._best.get(stretch, (0.0, 0))[0]):
                self._best[stretch] = found
            done = end

    def finish(self) -> tuple[int, ...]:
        return tuple(frame for _, frame in (self._best[stretch] for stretch in sorted(self._best)))


def check_against(paths: Sequence[Path], sheet: Sheet) -> tuple[Check, ...]:
    """Is what lies here what the sheet says was sent: every byte, or at least the sound, its length and its place?"""
    here = {path.name: path for path in paths}
    checks = [check for track in sheet.tracks for check in _of_track(track, here.get(track.file))]
    known = {track.file for track in sheet.tracks}
    checks += [
        Check("not-in-sheet", name, passed=False, message=f"{name} is not in the sheet.")
        for name in sorted(set(here) - known)
    ]
    if not sheet.tracks:
        checks.append(Check("sheet-empty", None, passed=False, message="The sheet names no tracks."))
    return tuple(checks)


def allowed(checks: Sequence[Check], sheet: Sheet) -> tuple[Check, ...]:
    """The same checks; a failure that the sheet waives is none, and says so."""
    let_pass = {(one.code, one.file): one for one in sheet.let_pass}
    return tuple(_allowed(check, let_pass.get((check.code, check.file))) for check in checks)


def _allowed(check: Check, let_pass: LetPass | None) -> Check:
    if check.passed or let_pass is None:
        return check
    return replace(check, passed=True, message=f"{check.message} Waived by {let_pass.by}: {let_pass.reason}")


def _of_track(track: SheetTrack, path: Path | None) -> Iterator[Check]:
    if path is None:
        yield Check("arrived", track.file, passed=False, message=f"{track.file} is missing.")
        return
    sha256 = sha256_of_file(path)
    if sha256 == track.sha256:
        words = f"{track.file} is as it was sent, bit for bit."
        yield Check("arrived", track.file, passed=True, value=sha256, limit=track.sha256, message=words)
        return
    try:
        now = track_of(path)
    except UnusableFileError as error:
        yield Check("arrived", track.file, passed=False, message=f"{track.file} {error.reason}.")
        return
    yield from _changed(track, now)


def _changed(track: SheetTrack, now: SheetTrack) -> Iterator[Check]:
    if now.audio_digest == track.audio_digest:
        words = f"{track.file} was written anew, but its sound, length and place are as sent."
        yield Check("arrived", track.file, passed=True, value=now.sha256, limit=track.sha256, message=words)
        return
    words = f"{track.file} is not what was sent: its sound has changed."
    yield Check("arrived", track.file, passed=False, value=now.sha256, limit=track.sha256, message=words)
    if now.sample_rate_hz != track.sample_rate_hz:
        words = (
            f"{track.file} is at {written('_hz', now.sample_rate_hz)}; {written('_hz', track.sample_rate_hz)} was sent."
        )
        yield Check(
            "sheet-rate", track.file, passed=False, value=now.sample_rate_hz, limit=track.sample_rate_hz, message=words
        )
        return
    if now.frames != track.frames:
        words = f"{track.file} is {written('_frames', now.frames)} long; {written('_frames', track.frames)} were sent."
        yield Check("sheet-length", track.file, passed=False, value=now.frames, limit=track.frames, message=words)
    yield _place(track, now)


def _place(track: SheetTrack, now: SheetTrack) -> Check:
    moved = Counter(after - before for before in track.landmarks for after in now.landmarks)
    frames, count = moved.most_common(1)[0] if moved else (0, 0)
    if count <= _AGREE * len(track.landmarks):
        words = f"Can't tell where {track.file} lies against what was sent: they have too little in common."
        return Check("sheet-line-up", track.file, passed=True, message=words, undecided=True)
    way = "later" if frames > 0 else "earlier"
    words = f"{track.file} lies where it was sent."
    if frames:
        words = f"{track.file} is {written('_frames', abs(frames))} {way} than it was sent."
    return Check("sheet-line-up", track.file, passed=not frames, value=frames, limit=0, message=words)
