"""The store in a folder: what `save` has returned from is on the disk, and nothing is ever written over."""

import os
from pathlib import Path
from typing import IO, Any

from django.core.files.storage import FileSystemStorage

READ_ONLY = 0o444


class FolderStorage(FileSystemStorage):
    """Files in `location`, read-only and fsynced before their name is given out. They have no public address."""

    def __init__(self, location: str) -> None:
        super().__init__(location=location, allow_overwrite=False, file_permissions_mode=READ_ONLY)

    def url(self, name: str | None) -> str:
        raise ValueError(f"{name} has no public address: a view serves it to people with access.")

    def save(self, name: str | None, content: IO[Any], max_length: int | None = None) -> str:
        saved_name = super().save(name, content, max_length)
        saved_file = Path(self.path(saved_name))
        sync(saved_file)
        # The names on the way down are entries of folders, which are synced apart from the file.
        for parent in saved_file.parents:
            sync(parent)
            if parent == Path(self.location):
                break
        return saved_name


def sync(path: Path) -> None:
    """Return when the file, or the folder's list of names, is on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
