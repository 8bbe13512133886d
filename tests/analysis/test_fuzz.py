"""Hostile and broken files: each ends in a report or a finding, in the child and within its limits.

Headers are mutated with a fixed seed; most mutants are surveyed in this process, where a crash would end the test run,
and some in a child, as the worker does it.
"""

import struct
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from analysis.measuring.survey import survey_file
from analysis.sandbox.child import survey_in_child
from tests.analysis.encoded import pcm_format, riff_chunk, wav_bytes, write_sound
from tests.analysis.mutants import CONTAINERS, SOUND, assert_is_an_answer, mutants, whole_file

MUTANTS = 24


@pytest.mark.parametrize("container", CONTAINERS)
@pytest.mark.filterwarnings("ignore")
def test_mutated_headers(tmp_path: Path, container: str) -> None:
    path = tmp_path / "mutant.wav"
    for mutant in islice(mutants(whole_file(tmp_path, container), seed=CONTAINERS.index(container)), MUTANTS):
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


def with_bytes(content: bytes, at: int, new: bytes) -> bytes:
    return content[:at] + new + content[at + len(new) :]


def sizes_that_lie(folder: Path) -> dict[str, bytes]:
    """2^31 frames and more declared over 0.4 s of sound, in the field that each container has for it."""
    rf64, w64, aiff, caf, flac = (whole_file(folder, name) for name in ("rf64", "w64", "aiff", "caf", "flac"))
    w64_data = w64.index(b"data\xf3\xac\xd3\x11")
    return {
        "rf64": with_bytes(rf64, rf64.index(b"ds64") + 16, struct.pack("<QQ", 2**33, 2**31)),
        "w64": with_bytes(w64, w64_data + 16, struct.pack("<Q", 2**62)),
        "aiff": with_bytes(aiff, aiff.index(b"COMM") + 10, struct.pack(">I", 2**31)),
        "caf": with_bytes(caf, caf.index(b"data") + 4, struct.pack(">q", 2**62)),
        # 36 bits for the number of samples, the last four of byte 13 of the stream's information and the four after it.
        "flac": with_bytes(flac, 4 + 4 + 13, bytes([flac[21] | 0x0F]) + b"\xff" * 4),
    }


@pytest.mark.parametrize("container", ["rf64", "w64", "aiff", "caf", "flac"])
def test_sizes_that_lie_end_in_what_is_there(tmp_path: Path, container: str) -> None:
    path = tmp_path / "liar.wav"
    path.write_bytes(sizes_that_lie(tmp_path)[container])
    report = survey_file(path).report

    assert_is_an_answer(report)
    assert report.frames is None or report.frames <= len(SOUND) + 1


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
    for mutant in islice(mutants(whole_file(tmp_path, container), seed=99), 2):
        path.write_bytes(mutant)
        assert_is_an_answer(
            survey_in_child(path, name="Ünïcode “name”.wav", features_to=tmp_path / "f.npz", time_limit_s=60.0)
        )
