"""The zip against `zipfile`, which reads the format by itself: whole, byte by byte, and from any byte on."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import IO, cast

import numpy as np
import pytest

from portal.zip_stream import Archive, Member, fixed_member, lay_out

MADE_AT = datetime(2026, 11, 25, 9, 30, 44, tzinfo=UTC)


def member(name: str, content: bytes) -> Member:
    return fixed_member(name, content, crc32=zlib.crc32(content))


def whole(archive: Archive) -> bytes:
    return b"".join(archive.read(0, archive.length_bytes))


def some_contents() -> dict[str, bytes]:
    dice = np.random.default_rng(7)
    return {
        "Set/KickIn.wav": dice.bytes(70_001),
        "Set/empty.txt": b"",
        "Set/스네어 1.wav": dice.bytes(300),
        "Set/Perché.wav": dice.bytes(12_345),
    }


def test_zipfile_reads_back_every_byte_and_finds_nothing_wrong() -> None:
    contents = some_contents()
    archive = lay_out([member(name, content) for name, content in contents.items()], made_at=MADE_AT)

    with zipfile.ZipFile(io.BytesIO(whole(archive))) as seen:
        assert seen.testzip() is None
        assert {name: seen.read(name) for name in seen.namelist()} == contents
        assert {info.date_time for info in seen.infolist()} == {(2026, 11, 25, 9, 30, 44)}
        assert {info.compress_type for info in seen.infolist()} == {zipfile.ZIP_STORED}


def test_the_length_is_known_before_a_byte_is_read() -> None:
    archive = lay_out([member(name, content) for name, content in some_contents().items()], made_at=MADE_AT)
    assert archive.length_bytes == len(whole(archive))


def test_the_same_set_is_the_same_zip() -> None:
    once, again = (
        whole(lay_out([member(name, content) for name, content in some_contents().items()], made_at=MADE_AT))
        for _ in range(2)
    )
    assert once == again


def test_any_stretch_equals_that_stretch_of_the_whole() -> None:
    archive = lay_out([member(name, content) for name, content in some_contents().items()], made_at=MADE_AT)
    bytes_of_all = whole(archive)
    dice = np.random.default_rng(11)
    for _ in range(300):
        start, stop = sorted(dice.integers(archive.length_bytes + 1, size=2).tolist())
        assert b"".join(archive.read(start, stop)) == bytes_of_all[start:stop]


def test_resuming_reads_nothing_of_the_files_before() -> None:
    read: list[str] = []

    def reader(name: str, content: bytes) -> Member:
        def read_bytes(start: int, stop: int) -> Iterator[bytes]:
            read.append(name)
            yield content[start:stop]

        return Member(name, len(content), zlib.crc32(content), read_bytes)

    archive = lay_out([reader("a", bytes(1_000)), reader("b", bytes(1_000))], made_at=MADE_AT)
    list(archive.read(1_200, archive.length_bytes))
    assert read == ["b"]


def test_an_empty_zip_is_a_zip() -> None:
    with zipfile.ZipFile(io.BytesIO(whole(lay_out([], made_at=MADE_AT)))) as seen:
        assert seen.namelist() == []


def zeros(start: int, stop: int) -> Iterator[bytes]:
    while start < stop:
        piece = min(2**20, stop - start)
        start += piece
        yield bytes(piece)


class Seekable(io.RawIOBase):
    """An archive as a file that is only read where it is asked."""

    def __init__(self, archive: Archive) -> None:
        self.archive, self.at = archive, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        self.at = offset + (0, self.at, self.archive.length_bytes)[whence]
        return self.at

    def tell(self) -> int:
        return self.at

    def read(self, size: int = -1) -> bytes:
        stop = self.archive.length_bytes if size < 0 else min(self.at + size, self.archive.length_bytes)
        content = b"".join(self.archive.read(self.at, stop))
        self.at += len(content)
        return content


LARGE = 5 * 2**30


@pytest.mark.parametrize("size", [2**32 - 2, 2**32 - 1, 2**32, LARGE])
def test_sizes_and_places_beyond_32_bits_are_kept(size: int) -> None:
    """APPNOTE 6.3.10, 4.5.3: what does not fit 32 bits stands in Zip64 fields. The borders are where it does not."""
    words = b"after the large one"
    archive = lay_out([Member("large.wav", size, 0, zeros), member("small.txt", words)], made_at=MADE_AT)

    with zipfile.ZipFile(cast(IO[bytes], Seekable(archive))) as seen:
        large, small = seen.infolist()
        assert (large.file_size, large.header_offset) == (size, 0)
        assert small.header_offset > size
        assert seen.read(small) == words
        with seen.open(large) as file:
            assert file.read(10) == bytes(10)


def test_more_files_than_16_bits_count_are_kept() -> None:
    archive = lay_out([member(f"{number}", b"") for number in range(65_536)], made_at=MADE_AT)
    with zipfile.ZipFile(io.BytesIO(whole(archive))) as seen:
        assert len(seen.infolist()) == 65_536


def test_the_crc_is_the_one_that_zlib_gives() -> None:
    """Source: the check value of CRC-32 for the nine digits is 0xCBF43926 (common catalogue value)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    with zipfile.ZipFile(io.BytesIO(whole(lay_out([member("n", b"123456789")], made_at=MADE_AT)))) as seen:
        assert seen.infolist()[0].CRC == 0xCBF43926
