"""Files that open something else than sound in a decoder that guesses: each is refused, in a sentence.

The controls let FFmpeg guess, as `av.open` does when it gets no more than a name.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

import av
import numpy as np
import pytest
from av import logging

from analysis.core.errors import UnreadableError
from analysis.measuring.survey import survey_file
from analysis.media import av_decoder, reader
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import write_encoded, write_sound

NOISE = signals.noise(duration_s=1.0, channels=2)
# ID3v2.3, section 3.1: an empty tag. FFmpeg looks for a format behind it.
ID3 = b"ID3\x03\0\0\0\0\0\0"
SESSION = b"v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 0\n"  # RFC 8866
CRAFTED = {
    "a script for a synthesiser": b"OggS: 200+10/50\nNOW OggS\n",
    "an invitation to a stream": b"OggS\n" + SESSION,
    "an invitation behind a tag": ID3 + SESSION,
    "a playlist of addresses": ID3 + b"#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    "a list of files": ID3 + b"ffconcat version 1.0\nfile /etc/hostname\n",
    "a list of files in Flac's name": b"fLaC\nffconcat version 1.0\nfile /etc/hostname\n",
    "a manifest": ID3 + b"<?xml version='1.0'?><MPD profiles='urn:mpeg:dash:profile:isoff-on-demand:2011'></MPD>",
    "a picture behind a tag": ID3 + b"\x89PNG\r\n\x1a\n" + bytes(200),
    "a module of patterns": b"riff\x2e\x91\xcf\x11" + b"Extended Module: x".ljust(400, b"\x1a"),
}


@pytest.mark.parametrize("name", CRAFTED)
def test_what_is_no_sound_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(CRAFTED[name])
    report = survey_file(path).report

    assert report.frames is None
    [finding] = report.findings
    assert finding.code == "unreadable"
    assert finding.message.startswith("“take.wav” ")


def test_a_guess_starts_the_synthesiser(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(CRAFTED["a script for a synthesiser"])

    with av.open(str(path)) as guessed:
        assert guessed.format.name == "sbg"


@pytest.mark.parametrize("container", sorted(av_decoder.FORMATS))
def test_the_decoder_looks_for_the_format_that_it_is_told_and_starts_no_synthesiser(
    tmp_path: Path, container: str
) -> None:
    """With a guess it would find one, and only then a codec that is not read."""
    path = tmp_path / "take.wav"
    path.write_bytes(CRAFTED["a script for a synthesiser"])

    try:
        opened = av_decoder.AvDecoder(path, container)
    except av_decoder.CodecError:
        pytest.fail("it guessed, and found one")
    except av_decoder.DECODER_ERRORS:
        pass
    else:  # some take anything for theirs until they read on
        assert opened._container.format.name == av_decoder.FORMATS[container]
        opened.close()


@pytest.mark.parametrize(
    ("name", "part"),
    [("an invitation to a stream", "rtp"), ("a list of files", "concat")],
)
def test_a_guess_reaches_for_more(tmp_path: Path, name: str, part: str) -> None:
    path = tmp_path / "take.wav"
    path.write_bytes(CRAFTED[name])
    level = logging.get_level()
    logging.set_level(logging.ERROR)
    try:
        with logging.Capture() as lines, pytest.raises(av.error.FFmpegError):
            av.open(str(path))
    finally:
        logging.set_level(level)

    assert part in {line[1] for line in lines}


def pointing_to(other: Path, content: bytes) -> bytes:
    """An MP4 whose track lies in another file: an `alis` record in place of `url ` (ISO/IEC 14496-12, 8.7.2).

    Layout of the record as FFmpeg reads it: an alias of Mac OS, with the absolute path as entry 2.
    """
    name = os.fsencode(other)
    record = bytes(50) + bytes([0]) + bytes(63) + bytes(16) + struct.pack(">hh", 1, 1) + bytes(16)
    record += struct.pack(">HH", 2, len(name)) + name + bytes(len(name) % 2) + struct.pack(">HH", 0xFFFF, 0)
    entry = struct.pack(">I4sI", 12 + len(record), b"alis", 0) + record
    changed = bytearray(content)
    at_entry = changed.index(b"url ") - 4
    for box in (b"moov", b"trak", b"mdia", b"minf", b"dinf", b"dref"):
        at = changed.index(box) - 4
        size = struct.unpack_from(">I", changed, at)[0]
        struct.pack_into(">I", changed, at, size + len(entry) - 12)
    changed[at_entry : at_entry + 12] = entry
    return bytes(changed)


def test_a_track_in_another_file_is_not_followed(tmp_path: Path) -> None:
    other = write_encoded(tmp_path / "other.m4a", NOISE, codec="aac")
    path = tmp_path / "take.m4a"
    path.write_bytes(pointing_to(other, other.read_bytes()))

    with av.open(str(path), options={"enable_drefs": "1", "use_absolute_path": "1"}) as followed:
        assert sum(frame.samples for frame in followed.decode(audio=0)) >= len(NOISE)
    [finding] = survey_file(path).report.findings
    assert finding.message == "“take.m4a” contains no sound: its length is zero."


def test_a_codec_that_nobody_sends_is_named(tmp_path: Path) -> None:
    path = write_encoded(tmp_path / "take.mkv", NOISE, codec="tta", sample_format="s16")

    with av.open(str(path)) as guessed:
        assert guessed.streams.audio[0].codec_context.name == "tta"
    with (
        pytest.raises(UnreadableError, match=r"contains sound in a codec that is not read here \(tta\)"),
        open_media(path),
    ):
        pass


def test_a_tag_before_a_wav_makes_no_mp3_of_it(tmp_path: Path) -> None:
    """libsndfile skips a tag and looks again; what it finds must be what the first bytes said."""
    path = write_sound(tmp_path / "take.wav", NOISE)
    path.write_bytes(ID3 + path.read_bytes())

    assert survey_file(path).report.container is None


def test_every_format_and_codec_is_one_that_the_library_has() -> None:
    assert set(av_decoder.FORMATS.values()) <= av.formats_available
    assert set(av_decoder.CODECS) <= av.codecs_available


def test_more_hours_than_a_song_has_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Silence packs: an hour and a second at 1 kHz are a few kilobytes."""
    monkeypatch.setattr(reader, "_MOST_HOURS", 1)
    silence = np.zeros((3_601 * 1_000, 1), np.float32)
    path = write_sound(tmp_path / "long.flac", silence, 1_000, format="FLAC", subtype="PCM_16")
    with open_media(path) as media, pytest.raises(UnreadableError, match="contains more than 1 hours of sound"):
        for _ in media.blocks():
            pass

    allowed = write_sound(tmp_path / "allowed.flac", silence[: 3_600 * 1_000], 1_000, format="FLAC", subtype="PCM_16")
    with open_media(allowed) as media:
        assert sum(len(block) for block in media.blocks()) == 3_600_000
