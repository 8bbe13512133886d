"""Broadcast WAV, byte by byte, against the layouts of EBU Tech 3285 and 3306, read here with `struct` alone."""

from __future__ import annotations

import hashlib
import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.media import broadcast
from analysis.media.broadcast import Broadcast, create_broadcast
from analysis.media.reader import open_media
from tests import signals

TEN_HOURS_AT_192K = 6_912_000_000  # high word 1, low 2 617 032 704 (arithmetic)


def write(path: Path, *, channels: int = 1, depth: int = 24, frames: int = 1001, reference: int = 0) -> bytes:
    samples = signals.quantised(signals.noise(duration_s=frames / 48_000, channels=channels), min(depth, 24))
    with create_broadcast(
        path,
        sample_rate_hz=48_000,
        channels=channels,
        bit_depth=depth,
        frames=frames,
        broadcast=Broadcast("Bass DI – wet.wav", reference, "A=PCM,F=48000,W=24,M=mono,T=as it came\r\n"),
    ) as sound:
        sound.write(samples[:400])
        sound.write(samples[400:])
    assert sound.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert np.array_equal(soundfile.read(path, always_2d=True)[0], samples)
    return path.read_bytes()


def chunks_of(content: bytes) -> dict[str, bytes]:
    found, at = {}, 12
    while at < len(content):
        name, size = struct.unpack_from("<4sI", content, at)
        found[name.decode()] = content[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    assert at == len(content)
    return found


def test_the_broadcast_chunk(tmp_path: Path) -> None:
    """Description 0/256, originator 256/32, date 320/10, time reference 338 and 342, version 346/2, history 602."""
    content = write(tmp_path / "x.wav", reference=TEN_HOURS_AT_192K)
    chunks = chunks_of(content)
    bext = chunks["bext"]

    assert list(chunks) == ["bext", "fmt ", "data"]
    assert bext[:256].rstrip(b"\0") == b"Bass DI ? wet.wav"
    assert bext[256:288].rstrip(b"\0") == b"Kitpost"
    assert bext[288:338] == bytes(50)  # no reference, no date, no time
    assert struct.unpack_from("<II", bext, 338) == (2_617_032_704, 1)
    assert struct.unpack_from("<H", bext, 346) == (1,)
    assert bext[348:602] == bytes(254)
    assert bext[602:] == b"A=PCM,F=48000,W=24,M=mono,T=as it came\r\n"
    assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8
    with open_media(tmp_path / "x.wav") as media:
        assert media.tags["time_reference_frames"] == TEN_HOURS_AT_192K


def test_an_odd_length_is_padded_and_not_counted(tmp_path: Path) -> None:
    """1001 frames of 3 bytes (RIFF 1991)."""
    content = write(tmp_path / "x.wav")

    assert len(chunks_of(content)["data"]) == 3003
    assert content[-1] == 0
    with wave.open(str(tmp_path / "x.wav")) as file:
        assert (file.getnframes(), file.getsampwidth(), file.getframerate()) == (1001, 3, 48_000)


@pytest.mark.parametrize(
    ("channels", "depth", "subtype"), [(1, 16, "PCM_16"), (2, 24, "PCM_24"), (2, 32, "FLOAT"), (6, 24, "PCM_24")]
)
def test_depths_and_channels(tmp_path: Path, channels: int, depth: int, subtype: str) -> None:
    write(tmp_path / "x.wav", channels=channels, depth=depth)
    info = soundfile.info(tmp_path / "x.wav")

    assert (info.channels, info.subtype, info.frames) == (channels, subtype, 1001)


def test_a_file_that_could_pass_4_gib_is_rf64(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EBU Tech 3306: `ds64` comes first and holds the true sizes; the 32-bit ones say to look there."""
    monkeypatch.setattr(broadcast, "RIFF_LIMIT_BYTES", 1_000)
    content = write(tmp_path / "x.wav", channels=2)

    assert content[:4] == b"RF64"
    assert content[8:16] == b"WAVEds64"
    riff_bytes, data_bytes, frames, table = struct.unpack_from("<QQQI", content, 20)
    assert (riff_bytes, data_bytes, frames, table) == (len(content) - 8, 6006, 1001, 0)
    assert content[4:8] == b"\xff" * 4
    assert content[content.index(b"data") + 4 :][:4] == b"\xff" * 4


@pytest.mark.parametrize(("depth", "frames", "sentence"), [(20, 1001, "bit_depth"), (24, 1002, "1001 frames were")])
def test_what_cannot_be_written_is_said(tmp_path: Path, depth: int, frames: int, sentence: str) -> None:
    with (
        pytest.raises(ValueError, match=sentence),
        create_broadcast(
            tmp_path / "x.wav",
            sample_rate_hz=48_000,
            channels=1,
            bit_depth=depth,
            frames=frames,
            broadcast=Broadcast(),
        ) as sound,
    ):
        sound.write(np.zeros((1001, 1)))


def test_what_lies_over_full_scale_is_held_and_counted(tmp_path: Path) -> None:
    """The highest code is 2^23 - 1: 1.0 itself is over it, -1.0 is not."""
    with create_broadcast(
        tmp_path / "x.wav", sample_rate_hz=48_000, channels=1, bit_depth=24, frames=4, broadcast=Broadcast()
    ) as sound:
        sound.write(np.array([[1.0], [-1.0], [-1.5], [0.5]]))
    assert sound.held_samples == 2
    assert soundfile.read(tmp_path / "x.wav", dtype="int32")[0].tolist() == [0x7FFFFF00, -(2**31), -(2**31), 2**30]
