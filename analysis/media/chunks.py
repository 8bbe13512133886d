"""The outline of a container: which chunks it declares, where they lie, and how long the sound data claims to be.

RIFF, RF64 and BW64 (EBU Tech 3285, Tech 3306; ITU-R BS.2088), W64, AIFF and AIFF-C, CAF and the boxes of MP4. Sizes are
taken as claims: nothing is read by them, they are only compared with the bytes on disk.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

_MOST_CHUNKS = 2000  # house choice
_UNKNOWN_SIZE_32 = 0xFFFFFFFF  # "see the ds64 chunk" (EBU Tech 3306, BS.2088)


@dataclass(frozen=True)
class Chunk:
    """`size` is what the header says; None where it says that it does not know (a stream being written)."""

    name: str
    offset: int
    size: int | None


def outline(file: BinaryIO, container: str, *, size_bytes: int) -> tuple[Chunk, ...]:
    """Chunks of the top level in the order of the file. Stops quietly where the outline stops making sense."""
    walk = _WALKS.get(container)
    if walk is None:
        return ()
    chunks: list[Chunk] = []
    try:
        for chunk in walk(file, size_bytes):
            chunks.append(chunk)
            if len(chunks) >= _MOST_CHUNKS:
                break
    except struct.error:
        pass
    return tuple(chunks)


def missing_bytes(chunks: tuple[Chunk, ...], *, size_bytes: int) -> int:
    """Bytes of sound that the header promises and the disk does not hold."""
    ends = [chunk.offset + chunk.size for chunk in chunks if chunk.size is not None and chunk.name in _SOUND_CHUNKS]
    return max(0, max(ends, default=0) - size_bytes)


def unclaimed_bytes(chunks: tuple[Chunk, ...], *, size_bytes: int) -> int:
    """Bytes after the last chunk: a plain WAV beyond 4 GiB wraps its sizes, and the rest is lost to most readers."""
    ends = [chunk.offset + (chunk.size or 0) for chunk in chunks]
    has_open_end = any(chunk.size is None for chunk in chunks)
    return 0 if has_open_end or not ends else max(0, size_bytes - max(ends) - max(ends) % 2)


_SOUND_CHUNKS = frozenset({"data", "SSND", "mdat"})


def _read(file: BinaryIO, offset: int, layout: str) -> tuple[int, ...]:
    file.seek(offset)
    return struct.unpack(layout, file.read(struct.calcsize(layout)))


def _name(file: BinaryIO, offset: int) -> str:
    file.seek(offset)
    return file.read(4).decode("latin-1")


def _walk_riff(file: BinaryIO, size_bytes: int) -> Iterator[Chunk]:
    order = ">" if _name(file, 0) == "RIFX" else "<"
    long_data_bytes: int | None = None
    offset = 12
    while offset + 8 <= size_bytes:
        name = _name(file, offset)
        size: int | None = _read(file, offset + 4, f"{order}I")[0]
        if name == "ds64":
            long_data_bytes = _read(file, offset + 16, "<Q")[0]
        if name == "data" and size == _UNKNOWN_SIZE_32:
            size = long_data_bytes
        if name == "data" and size == 0:
            size = None
        yield Chunk(name, offset + 8, size)
        if size is None:
            return
        # A chunk of odd length is followed by a pad byte that its size does not count (BS.2088 Annex 2).
        offset += 8 + size + size % 2


def _walk_aiff(file: BinaryIO, size_bytes: int) -> Iterator[Chunk]:
    offset = 12
    while offset + 8 <= size_bytes:
        size = _read(file, offset + 4, ">I")[0]
        yield Chunk(_name(file, offset), offset + 8, size)
        offset += 8 + size + size % 2


def _walk_w64(file: BinaryIO, size_bytes: int) -> Iterator[Chunk]:
    # 16-byte GUIDs that begin with the RIFF name; 64-bit sizes count the 24-byte header; chunks start on 8 bytes.
    offset = 40
    while offset + 24 <= size_bytes:
        size = _read(file, offset + 16, "<Q")[0]
        if size < 24:
            return
        yield Chunk(_name(file, offset), offset + 24, size - 24)
        offset += (size + 7) // 8 * 8


def _walk_caf(file: BinaryIO, size_bytes: int) -> Iterator[Chunk]:
    offset = 8
    while offset + 12 <= size_bytes:
        size = _read(file, offset + 4, ">q")[0]
        yield Chunk(_name(file, offset), offset + 12, size if size >= 0 else None)
        if size < 0:
            return
        offset += 12 + size


def _walk_mp4(file: BinaryIO, size_bytes: int) -> Iterator[Chunk]:
    offset = 0
    while offset + 8 <= size_bytes:
        size, header = _read(file, offset, ">I")[0], 8
        if size == 1:
            size, header = _read(file, offset + 8, ">Q")[0], 16
        if size == 0:
            yield Chunk(_name(file, offset + 4), offset + header, None)
            return
        if size < header:
            return
        yield Chunk(_name(file, offset + 4), offset + header, size - header)
        offset += size


_OGG_TAIL_BYTES = 2**17  # more than the largest page, 65 307 bytes (RFC 3533)
_OGG_PAGE_HEADER_BYTES = 27  # RFC 3533, before the table of segments


def ogg_missing_bytes(file: BinaryIO, *, size_bytes: int) -> int:
    """How much of the last Ogg page is missing. A page tells its length in the table after its header (RFC 3533)."""
    start = max(0, size_bytes - _OGG_TAIL_BYTES)
    file.seek(start)
    tail = file.read(_OGG_TAIL_BYTES)
    page = tail.rfind(b"OggS")
    if page < 0:
        return 0
    header = tail[page : page + _OGG_PAGE_HEADER_BYTES]
    if len(header) < _OGG_PAGE_HEADER_BYTES:
        return _OGG_PAGE_HEADER_BYTES - len(header)
    segments = header[-1]
    table = tail[page + _OGG_PAGE_HEADER_BYTES : page + _OGG_PAGE_HEADER_BYTES + segments]
    end = start + page + _OGG_PAGE_HEADER_BYTES + segments + sum(table)
    return max(0, end - size_bytes)


_WALKS = {
    "wav": _walk_riff,
    "rf64": _walk_riff,
    "bw64": _walk_riff,
    "w64": _walk_w64,
    "aiff": _walk_aiff,
    "aifc": _walk_aiff,
    "caf": _walk_caf,
    "mp4": _walk_mp4,
}
