"""The bytes of uploads that are still arriving, under one writer's lock each, and how they are added to."""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import time
import uuid
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Protocol

from django.conf import settings

from portal.uploads import stretch_hashes
from portal.uploads.errors import ChecksumMismatchError, OffsetConflictError, UploadBusyError
from portal.uploads.headers import Checksum
from portal.uploads.models import Upload
from portal.uploads.stores import faults_told

# What came is written to the disk and noted this often: a killed process loses no more than that.
NOTED_EVERY_S = 1.0


class Part(Protocol):
    """Where an upload's bytes wait until all have come: a file here, or the parts of a multipart upload at a store."""

    def reach(self, offset: int) -> int:
        """Up to where, at most to this offset, the bytes are truly there."""

    def fall_back_to(self, offset: int) -> int:
        """The nearest place at or before this offset from which it can go on."""

    def open_at(self, offset: int) -> None:
        """Be ready to write from here; what was there beyond is gone."""

    def write(self, piece: memoryview) -> int:
        """Take what fits, at least one byte; say how much."""

    def sync(self) -> None:
        """Return when all that was written is on the disk."""

    def settle(self, offset: int) -> None:
        """The row says that everything before this offset is here: hand on what need not wait here."""

    def close(self) -> None: ...

    def pieces(self) -> Iterator[bytes]:
        """All bytes from the first to the last, read again."""

    def place(self, *, key: str, sha256: str) -> None:
        """Move them in the store to where their content's key says. Safe to repeat."""

    def is_there(self) -> bool: ...

    def remove(self) -> None: ...


def lock_path(name: uuid.UUID | str) -> Path:
    return Path(settings.UPLOAD_DIR) / f"{name}.lock"


@contextlib.contextmanager
def locked(name: uuid.UUID | str) -> Iterator[None]:
    """One writer at a time to an upload (or to an original, by its hash), whichever process it lives in; a killed one
    lets go by itself.

    Whoever comes in has to look again at what there is: the lock file of a finished upload is removed.
    """
    path = lock_path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise UploadBusyError("Another connection is sending this file.") from error
        yield


def append(upload: Upload, part: Part, pieces: Iterable[bytes], *, checksum: Checksum | None = None) -> None:
    """Write what comes from the upload's offset on, and note how far it got. Only under its lock."""
    with opened_at_offset(upload, part):
        if checksum is None:
            append_noting(upload, part, pieces)
        else:
            append_checked(upload, part, pieces, checksum)


@contextlib.contextmanager
def opened_at_offset(upload: Upload, part: Part) -> Iterator[None]:
    """The part, cut to what was noted: bytes after it were never known to be on the disk."""
    stands_at = stretch_hashes.cut_to(upload.pk, part.reach(upload.offset_bytes))
    if stands_at < upload.offset_bytes:
        with faults_told():
            stands_at = part.fall_back_to(stands_at)
        stretch_hashes.cut_to(upload.pk, stands_at)
        upload.advance_to(stands_at)
        raise OffsetConflictError("Part of this file is missing on the server. Ask for the offset to resume from.")
    try:
        with faults_told():
            stretch_hashes.reserve(upload.pk)
            part.open_at(stands_at)
            part.settle(stands_at)
        yield
    finally:
        part.close()


def append_noting(upload: Upload, part: Part, pieces: Iterable[bytes]) -> None:
    stretch, noted_at = Stretch(upload, part), time.monotonic()
    try:
        for piece in pieces:
            stretch.write(piece)
            if time.monotonic() - noted_at >= NOTED_EVERY_S:
                stretch.note()
                noted_at = time.monotonic()
    finally:
        stretch.note()


def append_checked(upload: Upload, part: Part, pieces: Iterable[bytes], checksum: Checksum) -> None:
    """Nothing counts before all of it is proven: a chunk that is cut short cannot be."""
    stretch, seen = Stretch(upload, part), hashlib.new(checksum.algorithm, usedforsecurity=False)
    for piece in pieces:
        stretch.write(piece)
        seen.update(piece)
    if seen.digest() != checksum.digest:
        part.open_at(upload.offset_bytes)
        raise ChecksumMismatchError("The checksum does not match. The data was discarded.")
    stretch.note()


class Stretch:
    """What was written since it was last noted."""

    def __init__(self, upload: Upload, part: Part) -> None:
        self.upload, self.part = upload, part
        self.end, self.seen = upload.offset_bytes, hashlib.sha256()

    def write(self, piece: bytes) -> None:
        rest = memoryview(piece)
        while rest:
            with faults_told():
                written = self.part.write(rest)
            self.seen.update(rest[:written])
            self.end, rest = self.end + written, rest[written:]

    def note(self) -> None:
        """First the disk, then the row: the row never promises what a power cut could take."""
        is_new = self.end != self.upload.offset_bytes
        with faults_told():
            self.part.sync()
            if is_new:
                stretch_hashes.add(self.upload.pk, end=self.end, sha256=self.seen.hexdigest())
        if is_new:
            self.upload.advance_to(self.end)
            self.seen = hashlib.sha256()
        with faults_told():
            self.part.settle(self.end)
