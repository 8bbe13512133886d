"""Outlines of containers, whole, cut short and longer than they say."""

import io
import struct
from pathlib import Path

import pytest

from analysis.media.chunks import Chunk, missing_bytes, ogg_missing_bytes, outline, unclaimed_bytes
from tests import signals
from tests.analysis.encoded import pcm_format, riff_chunk, wav_bytes, write_sound


def outline_of(content: bytes, container: str) -> tuple[Chunk, ...]:
    return outline(io.BytesIO(content), container, size_bytes=len(content))


def test_chunks_are_named_with_their_place_and_size() -> None:
    content = wav_bytes(pcm_format(), riff_chunk(b"note", b"odd"), riff_chunk(b"data", bytes(100)))

    assert outline_of(content, "wav") == (Chunk("fmt ", 20, 16), Chunk("note", 44, 3), Chunk("data", 56, 100))


@pytest.mark.parametrize(
    ("format_name", "container", "name"),
    [
        ("WAV", "wav", "data"),
        ("RF64", "rf64", "data"),
        ("W64", "w64", "data"),
        ("AIFF", "aiff", "SSND"),
        ("CAF", "caf", "data"),
    ],
)
def test_a_whole_file_lacks_nothing_and_a_cut_one_what_was_cut(
    tmp_path: Path, format_name: str, container: str, name: str
) -> None:
    path = write_sound(tmp_path / "stem", signals.noise(), format=format_name)
    content = path.read_bytes()
    chunks = outline_of(content, container)

    sound = next(chunk for chunk in chunks if chunk.name == name)
    assert sound.size is not None
    assert 48_000 * 3 <= sound.size <= 48_000 * 3 + 16
    assert missing_bytes(chunks, size_bytes=len(content)) == 0
    cut = outline_of(content[: sound.offset + 1_000], container)
    assert missing_bytes(cut, size_bytes=sound.offset + 1_000) == sound.size - 1_000


def test_a_file_that_is_still_being_written_has_an_open_end() -> None:
    content = wav_bytes(pcm_format(), riff_chunk(b"data", b"")) + bytes(5_000)
    chunks = outline_of(content, "wav")

    assert chunks[-1].size is None
    assert unclaimed_bytes(chunks, size_bytes=len(content)) == missing_bytes(chunks, size_bytes=len(content)) == 0


def test_sound_that_no_header_counts_is_unclaimed() -> None:
    content = wav_bytes(pcm_format(), riff_chunk(b"data", bytes(100))) + bytes(5_000)

    # What follows looks like empty chunks; a header that wrapped leaves samples there, which look like long ones.
    chunks = outline_of(content, "wav")[:2]

    assert unclaimed_bytes(chunks, size_bytes=len(content)) == 5_000


def test_boxes_of_an_mp4_may_have_sizes_of_64_bits_or_none() -> None:
    content = (
        struct.pack(">I4s", 16, b"ftyp")
        + bytes(8)
        + struct.pack(">I4sQ", 1, b"free", 20)
        + bytes(4)
        + struct.pack(">I4s", 0, b"mdat")
        + bytes(30)
    )

    assert outline_of(content, "mp4") == (Chunk("ftyp", 8, 8), Chunk("free", 32, 4), Chunk("mdat", 44, None))


@pytest.mark.parametrize("container", ["wav", "aiff", "w64", "caf", "mp4", "flac"])
def test_nonsense_ends_quietly(container: str) -> None:
    for content in (b"", b"RIFF", bytes(100), b"\xff" * 100, bytes(range(256))):
        assert len(outline_of(content, container)) <= 20


def test_an_ogg_page_says_how_long_it_is() -> None:
    page = b"OggS" + bytes(22) + bytes([2, 255, 45]) + bytes(300)

    for cut in (0, 1, 299):
        content = bytes(50) + page[: len(page) - cut]
        assert ogg_missing_bytes(io.BytesIO(content), size_bytes=len(content)) == cut
    assert ogg_missing_bytes(io.BytesIO(b"OggS" + bytes(10)), size_bytes=14) == 13
    assert ogg_missing_bytes(io.BytesIO(bytes(100)), size_bytes=100) == 0
