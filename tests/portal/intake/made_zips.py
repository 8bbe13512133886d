"""Zips as clients, and those who mean harm, make them."""

from __future__ import annotations

import io
import struct
import warnings
import zipfile
import zlib

LOCAL = struct.Struct("<4s5H3I2H")
CENTRAL = struct.Struct("<4s6H3I5H2I")
END = struct.Struct("<4s4H2IH")
DEFLATED, STORED = zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED


def zipped(*files: tuple[str, bytes], method: int = DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files:
            archive.writestr(zipfile.ZipInfo(name), content, compress_type=method)
    return out.getvalue()


def zip_of_one_name(entries: int) -> bytes:
    """So many entries, each of another content, that all have the same name."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of each name that is there already
        return zipped(*(("hat.wav", b"%d" % number) for number in range(entries)))


class OneWay(io.RawIOBase):
    """A pipe: what writes to it cannot go back, so sizes come after the data."""

    def __init__(self) -> None:
        self.content = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, piece: object) -> int:
        self.content += bytes(piece)  # type: ignore[call-overload]
        return len(bytes(piece))  # type: ignore[call-overload]


def zipped_through_a_pipe(*files: tuple[str, bytes], method: int = DEFLATED) -> bytes:
    out = OneWay()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, content in files:
            archive.writestr(zipfile.ZipInfo(name), content, compress_type=method)
    return bytes(out.content)


def raw_zip(
    *files: tuple[bytes, bytes],
    flags: int = 0,
    method: int = STORED,
    said_size: int | None = None,
    mode: int = 0,
    extra: bytes = b"",
) -> bytes:
    """Written field by field (APPNOTE 4.3), so that fields may say what no honest program writes."""
    body, listed = b"", b""
    for name, content in files:
        packed = content
        if method == DEFLATED:
            packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
            packed = packer.compress(content) + packer.flush()
        size, crc = len(content) if said_size is None else said_size, zlib.crc32(content)
        about = (20, flags, method, 0, 0, crc, len(packed), size, len(name), len(extra))
        listed += CENTRAL.pack(b"PK\x01\x02", 3 << 8, *about, 0, 0, 0, mode << 16, len(body)) + name + extra
        body += LOCAL.pack(b"PK\x03\x04", *about) + name + extra + packed
    end = END.pack(b"PK\x05\x06", 0, 0, len(files), len(files), len(listed), len(body), 0)
    return body + listed + end


def with_zip64(name: bytes, content: bytes, *, offset: int = 0, packed: int | None = None) -> bytes:
    """One stored entry whose sizes and offset are in a zip64 field (4.5.3), where they may be any 64-bit number."""
    crc, size, full = zlib.crc32(content), len(content), 0xFFFF_FFFF
    packed = size if packed is None else packed
    local_extra = struct.pack("<2H2Q", 1, 16, size, packed)
    listed_extra = struct.pack("<2H3Q", 1, 24, size, packed, offset)
    about = (45, 0, STORED, 0, 0, crc, full, full, len(name))
    body = LOCAL.pack(b"PK\x03\x04", *about, len(local_extra)) + name + local_extra + content
    fields = (*about, len(listed_extra), 0, 0, 0, 0, full)
    listed = CENTRAL.pack(b"PK\x01\x02", 45, *fields) + name + listed_extra
    return body + listed + END.pack(b"PK\x05\x06", 0, 0, 1, 1, len(listed), len(body), 0)
