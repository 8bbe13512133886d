"""Sound files of every container, and copies of them whose headers were changed at random."""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from analysis.core.reports import FileReport
from analysis.findings.catalogue import KIND_BY_CODE
from tests import signals
from tests.analysis.encoded import write_encoded, write_sound

SOUND = signals.quantised(signals.noise(duration_s=0.4, channels=2), 16)
HEADER_BYTES = 256
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
    """Without end."""
    rng = np.random.default_rng(seed)
    while True:
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
