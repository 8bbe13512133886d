"""The bytes of uploads that are still arriving: one file each in the upload folder, named by the upload's number."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import hashlib
import os
import time
import uuid
from collections.abc import Iterable, Iterator
from io import FileIO
from pathlib import Path

from django.conf import settings

from portal.uploads.errors import ChecksumMismatchError, DiskFullError, OffsetConflictError, UploadBusyError
from portal.uploads.headers import Checksum
from portal.uploads.models import Upload

# What came is written to the disk and noted this often: a killed process loses no more than that.
NOTED_EVERY_S = 1.0


def part_path(upload_id: uuid.UUID) -> Path:
    return Path(settings.UPLOAD_DIR) / f"{upload_id}.part"


def lock_path(name: uuid.UUID | str) -> Path:
    return Path(settings.UPLOAD_DIR) / f"{name}.lock"


@contextlib.contextmanager
def locked(name: uuid.UUID | str) -> Iterator[None]:
    """One writer at a time to an upload (or to an original, by its hash), whichever process it lives in; a killed one
    lets go by itself.

    Whoever comes in has to look anew at what there is: the lock file of a finished upload is removed.
    """
    path = lock_path(name)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise UploadBusyError("Another connection is sending this file.") from error
        yield


def remove(upload_id: uuid.UUID) -> None:
    part_path(upload_id).unlink(missing_ok=True)
    lock_path(upload_id).unlink(missing_ok=True)


def append(upload: Upload, pieces: Iterable[bytes], *, checksum: Checksum | None = None) -> None:
    """Write what comes from the upload's offset on, and note how far it got. Only under its lock."""
    with opened_at_offset(upload) as part:
        if checksum is None:
            append_noting(upload, part, pieces)
        else:
            append_checked(upload, part, pieces, checksum)


@contextlib.contextmanager
def opened_at_offset(upload: Upload) -> Iterator[FileIO]:
    """The part file, cut to what was noted: bytes after it were never known to be on the disk."""
    descriptor = os.open(part_path(upload.pk), os.O_RDWR | os.O_CREAT, 0o600)
    with FileIO(descriptor, "r+") as part:
        on_disk = part.seek(0, os.SEEK_END)
        if on_disk < upload.offset_bytes:
            upload.advance_to(on_disk)
            raise OffsetConflictError("Part of this file is missing on the server. Ask where to go on.")
        part.truncate(upload.offset_bytes)
        part.seek(upload.offset_bytes)
        yield part


def append_noting(upload: Upload, part: FileIO, pieces: Iterable[bytes]) -> None:
    noted_at = time.monotonic()
    try:
        for piece in pieces:
            write_all(part, piece)
            if time.monotonic() - noted_at >= NOTED_EVERY_S:
                note(upload, part)
                noted_at = time.monotonic()
    finally:
        note(upload, part)


def append_checked(upload: Upload, part: FileIO, pieces: Iterable[bytes], checksum: Checksum) -> None:
    """Nothing counts before all of it is proven: a chunk that is cut short cannot be."""
    seen = hashlib.new(checksum.algorithm, usedforsecurity=False)
    for piece in pieces:
        write_all(part, piece)
        seen.update(piece)
    if seen.digest() != checksum.digest:
        part.truncate(upload.offset_bytes)
        raise ChecksumMismatchError("The bytes that came are not those that were sent. They were dropped.")
    note(upload, part)


def write_all(part: FileIO, piece: bytes) -> None:
    rest = memoryview(piece)
    while rest:
        try:
            rest = rest[part.write(rest) :]
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                raise DiskFullError("The server's disk is full. What came so far is kept.") from error
            raise


def note(upload: Upload, part: FileIO) -> None:
    """First the disk, then the row: the row never promises what a power cut could take."""
    os.fsync(part.fileno())
    if part.tell() != upload.offset_bytes:
        upload.advance_to(part.tell())
