"""An upload's bytes in one file in the upload folder, named by the upload's number."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from io import FileIO
from pathlib import Path

from django.conf import settings

from portal.uploads import originals

READ_BYTES = 1024 * 1024


def part_path(upload_id: uuid.UUID) -> Path:
    return Path(settings.UPLOAD_DIR) / f"{upload_id}.part"


class LocalPart:
    file: FileIO  # between open_at and close

    def __init__(self, upload_id: uuid.UUID) -> None:
        self.path = part_path(upload_id)

    def reach(self, offset: int) -> int:
        return min(offset, self.path.stat().st_size) if self.path.exists() else 0

    def fall_back_to(self, offset: int) -> int:
        return offset

    def open_at(self, offset: int) -> None:
        self.close()
        self.file = FileIO(os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600), "r+")
        self.file.truncate(offset)
        self.file.seek(offset)

    def write(self, piece: memoryview) -> int:
        return self.file.write(piece)

    def sync(self) -> None:
        os.fsync(self.file.fileno())

    def settle(self, offset: int) -> None:
        """It stays here until all of it has come."""

    def close(self) -> None:
        if "file" in vars(self):
            self.file.close()

    def pieces(self) -> Iterator[bytes]:
        if not self.path.exists():
            return
        with self.path.open("rb") as file:
            while piece := file.read(READ_BYTES):
                yield piece

    def place(self, *, key: str, sha256: str) -> None:
        originals.store(self.path, key=key, sha256=sha256)

    def is_there(self) -> bool:
        return self.path.exists()

    def remove(self) -> None:
        self.path.unlink(missing_ok=True)
