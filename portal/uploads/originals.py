"""Finished files under names made from their content: the same content is one object, and nothing is written over."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from django.core.files import File
from django.core.files.storage import default_storage

from portal.uploads.errors import StoreError

READ_BYTES = 1024 * 1024


class PartFile(File[bytes]):
    """A file that a store on the same disk may simply move into its place."""

    def temporary_file_path(self) -> str:
        return str(self.name)


def key_for(sha256: str) -> str:
    return f"originals/{sha256[:2]}/{sha256}"


def hash_part(part: Path) -> str:
    """The SHA-256 of what arrived, once all of it is on the disk."""
    with part.open("rb") as file:
        os.fsync(file.fileno())
        return hash_of(file)


def hash_of(file: object) -> str:
    seen = hashlib.sha256()
    while piece := file.read(READ_BYTES):  # type: ignore[attr-defined]
        seen.update(piece)
    return seen.hexdigest()


def store(part: Path, *, key: str, sha256: str) -> None:
    """Put the part where its content's key says, read it back and compare. Safe to repeat at any point of it.

    Only under the lock of its hash: what is deleted here is a broken copy, and must not be one in the making.
    """
    if part.exists() and not holds(key, sha256):
        default_storage.delete(key)  # half a copy from a process that was killed in the middle
        with part.open("rb") as file:
            forget_cached(file.fileno())
            saved_as = default_storage.save(key, PartFile(file, name=str(part)))
        if saved_as != key and holds(key, sha256):
            default_storage.delete(saved_as)  # another machine stored the same content in the meantime
    if not holds(key, sha256):
        raise StoreError("The stored data does not match what was sent.")
    part.unlink(missing_ok=True)


def holds(key: str, sha256: str) -> bool:
    """Whether the store gives this content back: read again, not remembered."""
    if not default_storage.exists(key):
        return False
    with default_storage.open(key, "rb") as file:
        return hash_of(file) == sha256


def forget_cached(descriptor: int) -> None:
    """Let the next read come from the disk, not from memory."""
    if hasattr(os, "posix_fadvise"):
        os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
