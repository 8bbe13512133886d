"""A delivery as one zip that is never stored: every byte's place is known beforehand, so any stretch of it can be sent.

Members are stored, not compressed (sound hardly shrinks), and their CRC-32 and size are known before they are read.
Header and directory are therefore plain sums, a download resumes at any byte without reading what came before, and
the same set is the same zip, byte for byte. Layout and field names: PKWARE APPNOTE 6.3.10, sections 4.3.7, 4.3.12 and
4.3.14 to 4.3.16; numbers that do not fit 32 bits go to Zip64 fields (4.5.3).
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

ReadBytes = Callable[[int, int], Iterator[bytes]]

PLAIN_VERSION, ZIP64_VERSION = 20, 45
MADE_ON_UNIX = 3 << 8
NAMES_ARE_UTF8 = 1 << 11
STORED = 0
FILE_MODE = 0o100644 << 16
ZIP64_EXTRA = 1
# The value that says "see the Zip64 field"; what reaches it does not fit.
FULL_32, FULL_16 = 0xFFFF_FFFF, 0xFFFF


@dataclass(frozen=True)
class Member:
    """One file of the zip: what its directory says, and where its bytes come from."""

    name: str
    size_bytes: int
    crc32: int
    read: ReadBytes


@dataclass(frozen=True)
class Piece:
    length_bytes: int
    read: ReadBytes


@dataclass(frozen=True)
class Archive:
    """Headers, files and directory in their order."""

    pieces: tuple[Piece, ...]

    @property
    def length_bytes(self) -> int:
        return sum(piece.length_bytes for piece in self.pieces)

    def read(self, start: int, stop: int) -> Iterator[bytes]:
        """The bytes from `start` up to, not including, `stop`."""
        at = 0
        for piece in self.pieces:
            first, last = max(start - at, 0), min(stop - at, piece.length_bytes)
            if first < last:
                yield from piece.read(first, last)
            at += piece.length_bytes


def lay_out(members: Sequence[Member], *, made_at: datetime) -> Archive:
    pieces: list[Piece] = []
    entries: list[bytes] = []
    offset = 0
    for member in members:
        header = _local_header(member, made_at)
        entries.append(_directory_entry(member, made_at, offset))
        pieces += [_fixed(header), Piece(member.size_bytes, member.read)]
        offset += len(header) + member.size_bytes
    directory = b"".join(entries)
    pieces.append(_fixed(directory + _end(len(members), directory_bytes=len(directory), offset=offset)))
    return Archive(tuple(pieces))


def fixed_member(name: str, content: bytes, *, crc32: int) -> Member:
    return Member(name, len(content), crc32, _fixed(content).read)


def _fixed(content: bytes) -> Piece:
    return Piece(len(content), lambda start, stop: iter((content[start:stop],)))


def _local_header(member: Member, made_at: datetime) -> bytes:
    """4.3.7. With Zip64 both sizes stand in the extra field, needed or not (4.5.3)."""
    name = member.name.encode()
    is_large = member.size_bytes >= FULL_32
    size = FULL_32 if is_large else member.size_bytes
    extra = struct.pack("<HHQQ", ZIP64_EXTRA, 16, member.size_bytes, member.size_bytes) if is_large else b""
    fields = (*_common(member, made_at, is_large=is_large), size, size, len(name), len(extra))
    return struct.pack("<4s5H3L2H", b"PK\x03\x04", *fields) + name + extra


def _directory_entry(member: Member, made_at: datetime, offset: int) -> bytes:
    """4.3.12. The extra field holds what does not fit, in this order, and only that (4.5.3)."""
    name = member.name.encode()
    numbers = (member.size_bytes, member.size_bytes, offset)
    large = [number for number in numbers if number >= FULL_32]
    extra = struct.pack(f"<HH{len(large)}Q", ZIP64_EXTRA, 8 * len(large), *large) if large else b""
    size, stored_size, at = (min(number, FULL_32) for number in numbers)
    version = MADE_ON_UNIX | (ZIP64_VERSION if large else PLAIN_VERSION)
    fields = (*_common(member, made_at, is_large=bool(large)), size, stored_size, len(name), len(extra))
    tail = (0, 0, 0, FILE_MODE, at)  # no comment, disk 0, no internal attributes
    return struct.pack("<4s6H3L5H2L", b"PK\x01\x02", version, *fields, *tail) + name + extra


def _common(member: Member, made_at: datetime, *, is_large: bool) -> tuple[int, ...]:
    """Version needed, flags, method, time, date, CRC-32."""
    version = ZIP64_VERSION if is_large else PLAIN_VERSION
    day = (made_at.year - 1980) << 9 | made_at.month << 5 | made_at.day
    time = made_at.hour << 11 | made_at.minute << 5 | made_at.second // 2
    return version, NAMES_ARE_UTF8, STORED, time, day, member.crc32


def _end(count: int, *, directory_bytes: int, offset: int) -> bytes:
    """4.3.16, with 4.3.14 and 4.3.15 before it when a number does not fit."""
    is_large = count >= FULL_16 or directory_bytes >= FULL_32 or offset >= FULL_32
    zip64 = b""
    if is_large:
        versions = (MADE_ON_UNIX | ZIP64_VERSION, ZIP64_VERSION)
        record = struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, *versions, 0, 0, count, count, directory_bytes, offset)
        zip64 = record + struct.pack("<4sLQL", b"PK\x06\x07", 0, offset + directory_bytes, 1)
    few = min(count, FULL_16)
    numbers = (0, 0, few, few, min(directory_bytes, FULL_32), min(offset, FULL_32), 0)
    return zip64 + struct.pack("<4s4H2LH", b"PK\x05\x06", *numbers)
