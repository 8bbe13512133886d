"""Zips written by the standard library, by the system's own program, and by hand."""

from __future__ import annotations

import contextlib
import io
import shutil
import struct
import subprocess
import tracemalloc
import zipfile
import zlib
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from portal.intake.errors import DamagedEntryError, ZipError
from portal.intake.zips.reading import list_entries, read_entry, scan_entries
from tests.portal.intake.made_zips import DEFLATED, STORED, raw_zip, zipped, zipped_through_a_pipe

NOISE = np.random.default_rng(7).bytes(700_000)
FILES = (("Stems/bass.wav", NOISE), ("Stems/keys.wav", bytes(900_000)), ("empty.txt", b""))


def unpacked(content: bytes) -> dict[str, bytes]:
    file = io.BytesIO(content)
    return {entry.path: b"".join(read_entry(file, entry)) for entry in list_entries(file, most=100)}


def scanned(content: bytes) -> dict[str, bytes]:
    file = io.BytesIO(content)
    return {entry.path: b"".join(read_entry(file, entry)) for entry in scan_entries(file)}


@cache
def long_list() -> bytes:
    """More entries than the plain end of a zip can count: 16 bits."""
    return zipped(*((f"{number}", b"") for number in range(65_600)))


@pytest.mark.parametrize("method", [STORED, DEFLATED], ids=["stored", "deflated"])
def test_what_was_packed_comes_out(method: int) -> None:
    assert unpacked(zipped(*FILES, method=method)) == dict(FILES)
    assert scanned(zipped(*FILES, method=method)) == dict(FILES)


def test_sizes_that_come_after_the_data() -> None:
    content = zipped_through_a_pipe(*FILES)
    assert content[6] & 0x8, "the pipe did not make data descriptors"
    assert unpacked(content) == dict(FILES)
    assert scanned(content) == dict(FILES)


def test_stored_data_that_do_not_say_where_they_end_can_be_listed_but_not_scanned() -> None:
    content = zipped_through_a_pipe(*FILES, method=STORED)
    assert unpacked(content) == dict(FILES)
    with pytest.raises(DamagedEntryError, match="does not say where it ends"):
        scanned(content)


def test_zip64_fields() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive, archive.open("bass.wav", "w", force_zip64=True) as file:
        file.write(NOISE)
    assert unpacked(out.getvalue()) == {"bass.wav": NOISE}
    assert scanned(out.getvalue()) == {"bass.wav": NOISE}


def test_the_zip64_end_of_a_long_list() -> None:
    """APPNOTE 4.3.14: more than 65,535 entries need it."""
    entries = list_entries(io.BytesIO(long_list()), most=70_000)
    assert len(entries) == 65_600
    assert entries[-1].path == "65599"


def test_something_before_the_zip_moves_every_offset() -> None:
    assert unpacked(b"#!/bin/sh\n" * 100 + zipped(*FILES)) == dict(FILES)


def test_a_comment_that_looks_like_an_end_mark_s_beginning() -> None:
    out = io.BytesIO(zipped(*FILES))
    with zipfile.ZipFile(out, "a") as archive:
        archive.comment = b"PK\x05" * 1_000
    assert unpacked(out.getvalue()) == dict(FILES)


@pytest.mark.skipif(shutil.which("zip") is None, reason="no zip program here")
def test_the_system_s_own_program(tmp_path: Path) -> None:
    for name, content in (("bass.wav", NOISE), ("보컬.wav", NOISE[:1_000])):
        (tmp_path / name).write_bytes(content)
    subprocess.run(["zip", "-q", "out.zip", "bass.wav", "보컬.wav"], cwd=tmp_path, check=True)
    assert unpacked((tmp_path / "out.zip").read_bytes()) == {"bass.wav": NOISE, "보컬.wav": NOISE[:1_000]}


class TestLies:
    @pytest.mark.parametrize("method", [STORED, DEFLATED])
    def test_a_size_that_is_too_small_stops_at_once(self, method: int) -> None:
        file = io.BytesIO(raw_zip((b"a.wav", bytes(10_000_000)), method=method, said_size=10))
        (entry,) = list_entries(file, most=10)
        with pytest.raises(DamagedEntryError, match="larger than the zip says"):
            sum(len(piece) for piece in read_entry(file, entry))

    def test_a_size_that_is_too_large_is_found_at_the_end(self) -> None:
        with pytest.raises(DamagedEntryError, match="damaged"):
            unpacked(raw_zip((b"a.wav", b"abc"), said_size=4))

    @pytest.mark.parametrize("at", [200, 5_000, 300_000])
    def test_a_flipped_bit_is_found(self, at: int) -> None:
        content = bytearray(zipped(("a.wav", NOISE)))
        content[at] ^= 0x10
        with pytest.raises(DamagedEntryError):
            unpacked(bytes(content))

    def test_an_offset_to_nowhere(self) -> None:
        content = bytearray(raw_zip((b"a.wav", b"abc")))
        at = content.index(b"PK\x01\x02")
        content[at + 42 : at + 46] = struct.pack("<I", 3)
        with pytest.raises(DamagedEntryError, match="not where"):
            unpacked(bytes(content))

    def test_a_list_that_lies_about_its_length(self) -> None:
        content = bytearray(zipped(("a.wav", b"abc"), ("b.wav", b"abc")))
        at = content.index(b"PK\x05\x06")
        content[at + 10 : at + 12] = struct.pack("<H", 1)
        with pytest.raises(DamagedEntryError):
            list_entries(io.BytesIO(bytes(content)), most=10)

    @pytest.mark.parametrize("mark", [b"PK\x06\x06", b"PK\x01\x02"], ids=["zip64 end", "list"])
    def test_a_mark_that_is_not_there(self, mark: bytes) -> None:
        with pytest.raises(DamagedEntryError, match="list of contents"):
            list_entries(io.BytesIO(long_list().replace(mark, b"PKPK")), most=70_000)

    def test_data_that_begin_past_the_end_of_the_file(self) -> None:
        content = zipped(("a.wav", NOISE), method=STORED)
        (entry,) = list_entries(io.BytesIO(content), most=1)
        with pytest.raises(DamagedEntryError, match="cut off"):
            list(read_entry(io.BytesIO(content[:1_000]), entry))

    def test_too_many_entries_are_refused_before_the_list_is_read(self) -> None:
        content = zipped(*((str(number), b"") for number in range(11)))
        with pytest.raises(ZipError, match="more than 10 files"):
            list_entries(io.BytesIO(content), most=10)

    def test_no_byte_string_makes_it_fail_in_any_other_way(self) -> None:
        """Ten thousand mutations: a damaged zip is an outcome, never a crash."""
        chance = np.random.default_rng(11)
        good = zipped_through_a_pipe(("bass.wav", NOISE[:300]), ("keys.wav", bytes(500)))
        for _ in range(10_000):
            content = bytearray(good[: chance.integers(len(good))] if chance.random() < 0.3 else good)
            for _ in range(chance.integers(1, 6)):
                if content:
                    content[chance.integers(len(content))] = chance.integers(256)
            for read in (unpacked, scanned):
                with contextlib.suppress(DamagedEntryError, ZipError):
                    read(bytes(content))


def test_a_silent_gigabyte_passes_in_bounded_memory() -> None:
    """A silent stem packs a thousandfold: that is no attack, and it never lies in memory as a whole."""
    packer = zlib.compressobj(wbits=-zlib.MAX_WBITS)
    block = bytes(2**20)
    piece = packer.compress(block) + packer.flush(zlib.Z_FULL_FLUSH)  # after it the packer begins anew (RFC 1951)
    packed, crc = 1_024 * piece + packer.flush(), 0
    for _ in range(1_024):
        crc = zlib.crc32(block, crc)
    assert len(packed) * 900 < 2**30
    out = io.BytesIO(raw_zip((b"silence.wav", b""), method=DEFLATED))
    content = bytearray(out.getvalue())
    empty = len(zlib.compressobj(wbits=-zlib.MAX_WBITS).flush())
    data_at, list_at = 30 + len("silence.wav"), content.index(b"PK\x01\x02")
    sizes = struct.pack("<III", crc, len(packed), 2**30)
    content[14:26], content[list_at + 16 : list_at + 28] = sizes, sizes
    end_at = content.index(b"PK\x05\x06")
    content[end_at + 16 : end_at + 20] = struct.pack("<I", data_at + len(packed))
    content[data_at : data_at + empty] = packed
    file = io.BytesIO(bytes(content))

    (entry,) = list_entries(file, most=1)
    tracemalloc.start()
    length = sum(len(piece) for piece in read_entry(file, entry))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert length == 2**30
    assert peak < 2 * 2**20
