"""Hostile and broken files: each ends in a report or a finding, in the child and within its limits.

Headers are mutated with a fixed seed; most mutants are surveyed in this process, where a crash would end the test run,
and some in a child, as the worker does it.
"""

import json
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analysis.child import survey_in_child
from analysis.findings import KIND_BY_CODE
from analysis.reports import FileReport
from analysis.survey import survey_file
from tests import signals
from tests.analysis.encoded import pcm_format, riff_chunk, wav_bytes, write_encoded, write_sound

SOUND = signals.quantised(signals.noise(duration_s=0.4, channels=2), 16)
HEADER_BYTES = 256
MUTANTS = 24
CONTAINERS = ("wav", "rf64", "w64", "aiff", "caf", "flac", "ogg", "mp3", "m4a", "alac", "aac")


def whole_file(folder: Path, container: str) -> bytes:
    path = folder / f"whole.{container}"
    formats = {"wav": "WAV", "rf64": "RF64", "w64": "W64", "aiff": "AIFF", "caf": "CAF", "flac": "FLAC"}
    if container in formats:
        write_sound(path, SOUND, format=formats[container], subtype="PCM_16")
    elif container == "ogg":
        write_sound(path, SOUND, format="OGG", subtype="VORBIS")
    elif container == "mp3":
        write_sound(path, SOUND, format="MP3", subtype="MPEG_LAYER_III")
    elif container == "alac":
        path = write_encoded(folder / "whole.m4a", SOUND * 0.9, codec="alac", sample_format="s16p")
    else:
        write_encoded(path, SOUND, codec="aac")
    return path.read_bytes()


def mutants(content: bytes, seed: int) -> Iterator[bytes]:
    rng = np.random.default_rng(seed)
    for _ in range(MUTANTS):
        mutant = bytearray(content)
        for _ in range(int(rng.integers(1, 6))):
            place = int(rng.integers(4, min(HEADER_BYTES, len(mutant))))
            kind = int(rng.integers(0, 4))
            if kind == 0:
                mutant[place] = int(rng.integers(0, 256))
            elif kind == 1:
                mutant[place : place + 4] = b"\xff\xff\xff\xff"
            elif kind == 2:
                mutant[place : place + 4] = struct.pack("<I", int(rng.integers(0, 2**32)))
            else:
                del mutant[place : place + int(rng.integers(1, 9))]
        if rng.random() < 0.3:
            del mutant[int(rng.integers(16, len(mutant))) :]
        yield bytes(mutant)


def assert_is_an_answer(report: FileReport) -> None:
    json.dumps(report.to_json(), allow_nan=False)
    assert len(report.sha256) == 64
    assert all(finding.code in KIND_BY_CODE for finding in report.findings)
    if report.frames is None:
        assert {finding.code for finding in report.findings} <= {"unreadable", "not-audio"}
        assert report.findings


@pytest.mark.parametrize("container", CONTAINERS)
@pytest.mark.filterwarnings("ignore")
def test_mutated_headers(tmp_path: Path, container: str) -> None:
    path = tmp_path / "mutant.wav"
    for mutant in mutants(whole_file(tmp_path, container), seed=CONTAINERS.index(container)):
        path.write_bytes(mutant)
        assert_is_an_answer(survey_file(path).report)


def liars() -> dict[str, bytes]:
    """Sizes, counts and masks that lie."""
    data = riff_chunk(b"data", bytes(4_000))
    extensible = struct.pack("<HHIIHHHHI", 0xFFFE, 2, 48_000, 192_000, 4, 16, 22, 16, 0xFFFFFFFF)
    guid = bytes.fromhex("0100000000001000800000aa00389b71")
    return {
        "2^31 frames": wav_bytes(pcm_format(), b"data" + struct.pack("<I", 2**32 - 2) + bytes(400)),
        "more channels than bits": wav_bytes(pcm_format(channels=4_000), data),
        "32 767 channels": wav_bytes(riff_chunk(b"fmt ", struct.pack("<HHIIHH", 1, 32_767, 48_000, 0, 0, 16)), data),
        "mask of all channels": wav_bytes(riff_chunk(b"fmt ", extensible + guid), data),
        "unknown sub-format": wav_bytes(riff_chunk(b"fmt ", extensible + b"\xee" * 16), data),
        "rate of 4 GHz": wav_bytes(pcm_format(sample_rate_hz=2_147_000_000, bits=8), data),
        "0 bits": wav_bytes(pcm_format(bits=0), data),
        "chunk that contains itself": wav_bytes(pcm_format(), b"LIST" + struct.pack("<I", 2**31) + b"data"),
        "two formats": wav_bytes(pcm_format(), pcm_format(channels=7), data),
        "thousands of chunks": wav_bytes(pcm_format(), *[riff_chunk(b"junk", b"")] * 5_000, data),
        "one frame": wav_bytes(pcm_format(), riff_chunk(b"data", b"\1\0")),
        "half a frame": wav_bytes(pcm_format(), riff_chunk(b"data", b"\1")),
        "no frame": wav_bytes(pcm_format(), riff_chunk(b"data", b"")),
    }


@pytest.mark.parametrize("name", liars())
def test_headers_that_lie(tmp_path: Path, name: str) -> None:
    path = tmp_path / "liar.wav"
    path.write_bytes(liars()[name])

    assert_is_an_answer(survey_file(path).report)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e38, 1e-45])
@pytest.mark.parametrize("subtype", ["FLOAT", "DOUBLE"])
def test_values_that_no_sound_has(tmp_path: Path, value: float, subtype: str) -> None:
    samples = SOUND.copy()
    samples[100:200] = value
    write_sound(tmp_path / "odd.wav", samples, subtype=subtype)
    report = survey_file(tmp_path / "odd.wav").report

    assert_is_an_answer(report)
    assert (report.bad_values == 200) == (value != 1e-45)


def test_nothing_but_not_a_number(tmp_path: Path) -> None:
    write_sound(tmp_path / "nan.wav", SOUND * np.nan, subtype="FLOAT")
    report = survey_file(tmp_path / "nan.wav").report

    assert_is_an_answer(report)
    assert (report.bad_values, report.is_silent) == (SOUND.size, True)


@pytest.mark.parametrize("container", ["wav", "flac", "m4a"])
def test_the_child_survives_the_worst(tmp_path: Path, container: str) -> None:
    path = tmp_path / "mutant.wav"
    for number, mutant in enumerate(mutants(whole_file(tmp_path, container), seed=99)):
        if number == 2:
            break
        path.write_bytes(mutant)
        assert_is_an_answer(
            survey_in_child(path, name="Ünïcode “name”.wav", features_to=tmp_path / "f.npz", time_limit_s=60.0)
        )
