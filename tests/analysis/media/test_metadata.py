"""Metadata by open standards: EBU Tech 3285 v2 (broadcast chunk), iXML leniently, ID3v2, and names."""

from pathlib import Path

import pytest

from analysis.media.metadata import id3_tags, ixml_tags, name_hints
from analysis.media.reader import open_media
from tests.analysis.encoded import broadcast_chunk, pcm_format, riff_chunk, wav_bytes


def tags_of(path: Path, *chunks: bytes) -> dict[str, object]:
    path.write_bytes(wav_bytes(pcm_format(), *chunks, riff_chunk(b"data", bytes(2_000))))
    with open_media(path) as media:
        return media.tags


@pytest.mark.parametrize(
    "frames",
    [
        172_800_000,  # 01:00:00.000 at 48 kHz
        6_912_000_000,  # 10 h at 192 kHz: more than 32 bits
        0,
    ],
)
def test_time_reference_counts_samples_since_midnight(tmp_path: Path, frames: int) -> None:
    tags = tags_of(
        tmp_path / "take.wav", broadcast_chunk(time_reference_frames=frames, description="prise n° 3".encode())
    )

    assert tags == {
        "description": "prise n° 3",
        "origination_date": "2024-02-29",
        "origination_time": "12:34:56",
        "time_reference_frames": frames,
    }


def test_ixml_is_searched_leniently(tmp_path: Path) -> None:
    ixml = b"""<?xml version="1.0"?><BWFXML><PROJECT>Demo</PROJECT><NOTE>loud &amp; close</NOTE>
        <SPEED><FILE_SAMPLE_RATE> 48000 </FILE_SAMPLE_RATE>
        <TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>7</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED><TRACK_LIST><broken"""

    assert tags_of(tmp_path / "take.wav", riff_chunk(b"iXML", ixml)) == {
        "ixml_project": "Demo",
        "ixml_note": "loud &amp; close",
        "ixml_sample_rate_hz": 48_000,
        "ixml_time_reference_low": 7,
    }


def test_ixml_in_any_unicode() -> None:
    assert ixml_tags("<NOTE>여기</NOTE>".encode("utf-16")) == {"ixml_note": "여기"}


@pytest.mark.parametrize(
    "chunk", [riff_chunk(b"bext", b"short"), riff_chunk(b"iXML", b"\xff" * 50), riff_chunk(b"bext", b"")]
)
def test_broken_metadata_says_nothing(tmp_path: Path, chunk: bytes) -> None:
    assert tags_of(tmp_path / "take.wav", chunk) == {}


def id3(*frames: tuple[bytes, bytes], version: int = 4) -> bytes:
    body = b"".join(name + len(text).to_bytes(4, "big") + b"\0\0" + text for name, text in frames)
    return b"ID3" + bytes([version, 0, 0, 0, 0, 0, len(body)]) + body


def test_id3_tempo_and_key() -> None:
    assert id3_tags(id3((b"TBPM", b"\x03112"), (b"TKEY", b"\x00F#m"), (b"TIT2", b"\x01\xff\xfea\x00"))) == {
        "tag_bpm": 112.0,
        "tag_key": "F#m",
        "title": "a",
    }


def test_several_values_are_one_line() -> None:
    """ID3v2.4, section 4.2: a zero byte between them. The first tempo counts."""
    assert id3_tags(id3((b"TBPM", b"\x03112\x00118"), (b"TIT2", b"\x03one\x00two\x1b[2J"))) == {
        "tag_bpm": 112.0,
        "title": "one / two [2J",
    }


def test_control_characters_of_a_note_are_spaces() -> None:
    assert ixml_tags("<NOTE>first\nsecond\u202e\x07</NOTE>".encode()) == {"ixml_note": "first second"}


@pytest.mark.parametrize("tempo", [b"\x030", b"\x03fast", b"\x03-5", b"\x03999999", b"\x03"])
def test_a_tag_without_a_tempo_names_none(tempo: bytes) -> None:
    assert "tag_bpm" not in id3_tags(id3((b"TBPM", tempo)))


@pytest.mark.parametrize(
    ("name", "hints"),
    [
        ("SONG_bass_112bpm_48k.wav", {"name_bpm": 112.0, "name_sample_rate_hz": 48_000}),
        ("Keys 92.5 BPM.wav", {"name_bpm": 92.5}),
        ("lead_bpm120_take2.wav", {"name_bpm": 120.0}),
        ("mix 44.1kHz.wav", {"name_sample_rate_hz": 44_100}),
        ("mix_441k_24b.wav", {"name_sample_rate_hz": 44_100}),
        ("Ballad Am.wav", {"name_key": "A minor"}),
        ("Ballad_F#maj.wav", {"name_key": "F# major"}),
        ("take 120.wav", {}),
        ("bpm.wav", {}),
        ("20000bpm.wav", {}),
        ("Amp 48 kilo.wav", {}),
    ],
)
def test_what_people_write_into_names(name: str, hints: dict[str, object]) -> None:
    assert name_hints(name) == hints
