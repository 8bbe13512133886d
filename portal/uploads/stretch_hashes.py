"""What came, stretch by stretch: how far each went and the SHA-256 of its bytes as they were received.

A hash that runs in one process is lost with it. These lines are not: whichever process finishes the upload reads the
stored bytes once, and compares every stretch of them with what had come in.
"""

from __future__ import annotations

import hashlib
import re
import uuid
from collections.abc import Iterable, Iterator
from pathlib import Path

from django.conf import settings

from portal.uploads.errors import SpoiltError

BLOCK_BYTES = 4_096
BLANK = b"\n"
LINE = re.compile(rb"^(\d+) ([0-9a-f]{64})$", re.MULTILINE)


def path_of(upload_id: uuid.UUID) -> Path:
    return Path(settings.UPLOAD_DIR) / f"{upload_id}.proof"


def reserve(upload_id: uuid.UUID) -> None:
    """Take the room for the next stretches before the bytes come: a disk that fills up under them has it still."""
    path = path_of(upload_id)
    if not path.exists():
        path.write_bytes(BLANK * BLOCK_BYTES)


def add(upload_id: uuid.UUID, *, end: int, sha256: str) -> None:
    """Note the stretch that ends here. Not synced: a line that a power cut takes sends the client back by a stretch."""
    with path_of(upload_id).open("r+b") as file:
        lines = file.read()
        at = len(lines.rstrip(BLANK)) + 1 if lines.strip() else 0
        line = f"{end} {sha256}\n".encode()
        file.seek(at)
        file.write(line)
        if at + len(line) >= len(lines):
            file.write(BLANK * BLOCK_BYTES)


def read(upload_id: uuid.UUID) -> list[tuple[int, str]]:
    """The stretches by their ends. A line that a power cut left unfinished counts for nothing."""
    path = path_of(upload_id)
    lines = path.read_bytes() if path.exists() else b""
    return [(int(end), sha256.decode()) for end, sha256 in LINE.findall(lines)]


def cut_to(upload_id: uuid.UUID, offset: int) -> int:
    """Forget what goes beyond this offset; say how far the rest reaches."""
    kept = [(end, sha256) for end, sha256 in read(upload_id) if end <= offset]
    path = path_of(upload_id)
    if path.exists():
        lines = "".join(f"{end} {sha256}\n" for end, sha256 in kept).encode()
        with path.open("r+b") as file:
            file.seek(len(lines))
            file.write(BLANK * (path.stat().st_size - len(lines)))
    return kept[-1][0] if kept else 0


def compared(upload_id: uuid.UUID, pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Pass on all bytes of an upload, and raise as soon as a stretch is not what came in."""
    stretches = iter(read(upload_id))
    seen, at = hashlib.sha256(), 0
    end, expected = next(stretches, (0, ""))
    for piece in pieces:
        rest = memoryview(piece)
        while rest and at < end:
            head = rest[: end - at]
            seen.update(head)
            at, rest = at + len(head), rest[len(head) :]
            if at == end:
                if seen.hexdigest() != expected:
                    raise SpoiltError("The stored data does not match what arrived. Please send the file again.")
                seen = hashlib.sha256()
                end, expected = next(stretches, (0, ""))
        if rest:
            raise SpoiltError("More data is stored than arrived. Please send the file again.")
        yield piece
    if end:
        raise SpoiltError("Less data is stored than arrived. Please send the file again.")
