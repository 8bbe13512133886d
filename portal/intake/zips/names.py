"""Names in zips: how they are written, where they lead, and what nobody misses when it is left out."""

from __future__ import annotations

import re
import struct
import zlib
from dataclasses import dataclass

from portal.uploads import file_names

UTF8_FLAG = 0x800  # APPNOTE 4.4.4: bit 11
UNICODE_PATH = 0x7075  # APPNOTE 4.6.9
DRIVE = re.compile(r"^[A-Za-z]:")


def name_of(raw: bytes, flags: int, extra: bytes) -> tuple[str, bool]:
    """The entry's path, and whether how it is written had to be guessed.

    Without the flag a name is in code page 437 by the standard; in truth it is often UTF-8 all the same, and never by
    accident: other code pages do not happen to be valid UTF-8.
    """
    if flags & UTF8_FLAG:
        return raw.decode("utf-8", errors="replace"), False
    if raw.isascii():
        return raw.decode("ascii"), False
    told = unicode_path(raw, extra)
    if told is not None:
        return told, False
    try:
        return raw.decode("utf-8"), False
    except UnicodeDecodeError:
        return raw.decode("cp437"), True


def unicode_path(raw: bytes, extra: bytes) -> str | None:
    """The name in UTF-8 beside the old one, as long as it belongs to it: version 1, CRC of the old name, new name."""
    while len(extra) >= 4:
        kind, length = struct.unpack_from("<2H", extra)
        field, extra = extra[4 : 4 + length], extra[4 + length :]
        if kind == UNICODE_PATH and len(field) > 5 and field[0] == 1:
            belongs = struct.unpack_from("<I", field, 1)[0] == zlib.crc32(raw)
            return field[5:].decode("utf-8", errors="replace") if belongs else None
    return None


@dataclass(frozen=True)
class Place:
    """Where an entry lies: its folders, for people to see, and its own name. Neither is ever used as a path."""

    folders: tuple[str, ...]
    name: str
    leads_out: bool = False


def place_of(path: str) -> Place:
    parts = DRIVE.sub("", path.replace("\\", "/")).split("/")
    folders = tuple(file_names.clean(part) for part in parts[:-1] if part.strip() not in ("", ".", ".."))
    return Place(folders, file_names.clean(parts[-1]), leads_out=".." in (part.strip() for part in parts))
