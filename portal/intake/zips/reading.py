"""Reading zips from strangers, forward and in bounded memory.

Layout after PKWARE's APPNOTE 6.3.10 (the section is named beside each structure). Stored and deflated entries are read:
that is what every system's own tool writes. Nothing is ever unpacked to a path that the zip names.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from portal.intake.errors import DamagedEntryError, ZipError
from portal.intake.zips.names import name_of

LOCAL = struct.Struct("<4s5H3I2H")  # 4.3.7
CENTRAL = struct.Struct("<4s6H3I5H2I")  # 4.3.12
ZIP64_END = struct.Struct("<4sQ2H2I4Q")  # 4.3.14
ZIP64_LOCATOR = struct.Struct("<4sIQI")  # 4.3.15
END = struct.Struct("<4s4H2IH")  # 4.3.16
LOCAL_MARK, CENTRAL_MARK, END_MARK = b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06"
ZIP64_END_MARK, ZIP64_LOCATOR_MARK, DESCRIPTOR_MARK = b"PK\x06\x06", b"PK\x06\x07", b"PK\x07\x08"
LONGEST_COMMENT = 65_535
STORED, DEFLATED = 0, 8  # 4.4.5
ENCRYPTED, DESCRIBED_AFTER = 0x1, 0x8  # 4.4.4: bits 0 and 3
ZIP64_EXTRA = 0x0001  # 4.5.3
FULL_16, FULL_32 = 0xFFFF, 0xFFFF_FFFF
UNIX_SYSTEMS = (3, 19)  # 4.4.2: Unix, and OS X
FILE_KIND, LINK_KIND, PLAIN_KIND = 0o170000, 0o120000, 0o100000
READ_BYTES = 256 * 1024
# What one entry may take in the list of contents, name and extra fields included: far above what any tool writes.
LIST_BYTES_PER_ENTRY = 2_048
BROKEN_LIST = "Its list of contents is damaged."


@dataclass(frozen=True)
class Entry:
    """One entry as its header describes it. `size` and `crc` are None where only the data's end will tell."""

    path: str
    is_guess: bool  # the name did not say how it is written
    offset: int
    method: int
    flags: int
    packed_size: int
    size: int | None
    crc: int | None
    mode: int = 0

    @property
    def is_folder(self) -> bool:
        return self.path.endswith(("/", "\\"))

    @property
    def is_encrypted(self) -> bool:
        return bool(self.flags & ENCRYPTED)

    @property
    def is_link(self) -> bool:
        return self.mode & FILE_KIND == LINK_KIND

    @property
    def is_special(self) -> bool:
        """A device, a pipe, a socket: nothing that holds sound."""
        return self.mode & FILE_KIND not in (0, PLAIN_KIND, LINK_KIND, 0o040000)


def list_entries(file: BinaryIO, *, most: int) -> list[Entry]:
    """What the zip's list of contents names. The list is bounded before it is read."""
    count, size, offset, shift = find_list(file)
    if count > most or size > most * LIST_BYTES_PER_ENTRY:
        raise ZipError(f"It holds more than {most} files. Please send it in several parts.")
    file.seek(offset + shift)
    content = file.read(size)
    entries, at = [], 0
    while at < len(content):
        entry, at = read_central(content, at, shift)
        entries.append(entry)
    if len(content) < size or len(entries) != count:
        raise DamagedEntryError(BROKEN_LIST)
    return entries


def find_list(file: BinaryIO) -> tuple[int, int, int, int]:
    """Number of entries, bytes and offset of the list, and by how much all offsets are off (something lies before)."""
    length = file.seek(0, 2)
    tail_at = max(0, length - LONGEST_COMMENT - END.size)
    file.seek(tail_at)
    tail = file.read()
    at = tail.rfind(END_MARK)
    if at < 0 or len(tail) - at < END.size:
        raise DamagedEntryError("Its end is missing.")
    _, _, _, _, count, size, offset, _ = END.unpack_from(tail, at)
    end_at = tail_at + at
    if count == FULL_16 or FULL_32 in (size, offset):
        end_at, count, size, offset = find_zip64_list(file, end_at, (count, size, offset))
    shift = end_at - size - offset
    if shift < 0:
        raise DamagedEntryError(BROKEN_LIST)
    return count, size, offset, shift


def find_zip64_list(file: BinaryIO, end_at: int, plain: tuple[int, int, int]) -> tuple[int, int, int, int]:
    file.seek(max(0, end_at - ZIP64_LOCATOR.size))
    locator = file.read(ZIP64_LOCATOR.size)
    if len(locator) < ZIP64_LOCATOR.size or not locator.startswith(ZIP64_LOCATOR_MARK):
        return (end_at, *plain)  # 65,535 entries, or 4 GiB to the byte, without being zip64
    zip64_at = end_at - ZIP64_LOCATOR.size - ZIP64_END.size
    file.seek(max(0, zip64_at))
    record = file.read(ZIP64_END.size)
    if len(record) < ZIP64_END.size or not record.startswith(ZIP64_END_MARK):
        raise DamagedEntryError(BROKEN_LIST)
    _, _, _, _, _, _, _, count, size, offset = ZIP64_END.unpack(record)
    return zip64_at, count, size, offset


def read_central(content: bytes, at: int, shift: int) -> tuple[Entry, int]:
    if len(content) - at < CENTRAL.size or not content.startswith(CENTRAL_MARK, at):
        raise DamagedEntryError(BROKEN_LIST)
    fields = CENTRAL.unpack_from(content, at)
    _, made_by, _, flags, method, _, _, crc, packed, size, names, extras, comment, _, _, outer, offset = fields
    at += CENTRAL.size
    raw_name, extra = content[at : at + names], content[at + names : at + names + extras]
    size, packed, offset = read_zip64(extra, [size, packed, offset])
    path, is_guess = name_of(raw_name, flags, extra)
    mode = outer >> 16 if made_by >> 8 in UNIX_SYSTEMS else 0
    entry = Entry(path, is_guess, offset + shift, method, flags, packed, size, crc, mode)
    return entry, at + names + extras + comment


def read_zip64(extra: bytes, values: list[int]) -> list[int]:
    """4.5.3: only what did not fit its field is there, in this order."""
    field = extra_field(extra, ZIP64_EXTRA)
    for index, value in enumerate(values):
        if value == FULL_32 and len(field) >= 8:
            values[index], field = struct.unpack_from("<Q", field)[0], field[8:]
    return values


def extra_field(extra: bytes, wanted: int) -> bytes:
    while len(extra) >= 4:
        kind, length = struct.unpack_from("<2H", extra)
        if kind == wanted:
            return extra[4 : 4 + length]
        extra = extra[4 + length :]
    return b""


def scan_entries(file: BinaryIO) -> Iterator[Entry]:
    """Entry by entry from the front, for a zip whose end is missing. Whoever takes one has to read it to its end."""
    file.seek(0)
    while True:
        offset = file.tell()
        header = file.read(LOCAL.size)
        if len(header) < LOCAL.size or not header.startswith(LOCAL_MARK):
            return
        _, _, flags, method, _, _, crc, packed, size, names, extras = LOCAL.unpack(header)
        raw_name, extra = file.read(names), file.read(extras)
        size, packed = read_zip64(extra, [size, packed])
        path, is_guess = name_of(raw_name, flags, extra)
        is_open = bool(flags & DESCRIBED_AFTER) and not packed
        yield Entry(path, is_guess, offset, method, flags, packed, None if is_open else size, None if is_open else crc)


def read_entry(file: BinaryIO, entry: Entry) -> Iterator[bytes]:
    """The entry's bytes, piece by piece, proven by length and CRC at the end. Leaves the file after its data."""
    length_of_zip = file.seek(0, 2)
    # Before it is sought: a zip64 field holds numbers that no file can have.
    file.seek(min(entry.offset, length_of_zip))
    header = file.read(LOCAL.size)
    if len(header) < LOCAL.size or not header.startswith(LOCAL_MARK):
        raise DamagedEntryError("is not where the list of contents says")
    *_, names, extras = LOCAL.unpack(header)
    if file.seek(names + extras, 1) + entry.packed_size > length_of_zip:
        raise DamagedEntryError("is cut off")
    crc, length = 0, 0
    for piece in stored(file, entry) if entry.method == STORED else inflated(file, entry):
        crc, length = zlib.crc32(piece, crc), length + len(piece)
        if entry.size is not None and length > entry.size:
            raise DamagedEntryError("is larger than the zip says")
        yield piece
    if entry.size is None:
        check_descriptor(file, crc, length)
    elif (crc, length) != (entry.crc, entry.size):
        raise DamagedEntryError("is damaged")


def stored(file: BinaryIO, entry: Entry) -> Iterator[bytes]:
    if entry.size is None:
        raise DamagedEntryError("does not say where it ends")
    rest = entry.packed_size
    while rest:
        piece = file.read(min(READ_BYTES, rest))
        if not piece:
            raise DamagedEntryError("is cut off")
        rest -= len(piece)
        yield piece


def inflated(file: BinaryIO, entry: Entry) -> Iterator[bytes]:
    """Packed bytes come and go in bounded pieces, however much a few of them blow up to."""
    unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
    rest = entry.packed_size if entry.size is not None else None
    packed = b""
    while not unpacker.eof:
        if not packed:
            packed = file.read(READ_BYTES if rest is None else min(READ_BYTES, rest))
            rest = None if rest is None else rest - len(packed)
            if not packed:
                raise DamagedEntryError("is cut off")
        try:
            piece = unpacker.decompress(packed, READ_BYTES)
        except zlib.error as error:
            raise DamagedEntryError("is damaged") from error
        packed = unpacker.unconsumed_tail
        if piece:
            yield piece
    # On to where its data were said to end, or back to where they ended.
    file.seek(-len(unpacker.unused_data) if rest is None else rest, 1)


def check_descriptor(file: BinaryIO, crc: int, length: int) -> None:
    """4.3.9: CRC and sizes after the data, with or without a mark, of 4 or (zip64) of 8 bytes each."""
    at = file.tell()
    if file.read(4) != DESCRIPTOR_MARK:
        file.seek(at)
    at = file.tell()
    for form in (struct.Struct("<3I"), struct.Struct("<I2Q")):
        file.seek(at)
        content = file.read(form.size)
        if len(content) == form.size and form.unpack(content)[::2] == (crc, length):
            return
    raise DamagedEntryError("is cut off" if len(content) < 12 else "is damaged")
