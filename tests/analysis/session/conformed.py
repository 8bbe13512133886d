"""What is said of a conformed file, for tests that only print it."""

from __future__ import annotations

import dataclasses
from typing import Any

from analysis.session.conform import ConformedFile

_PLAIN = ConformedFile(
    name="bass.wav",
    out="Bass.wav",
    channels=1,
    source_codec="pcm_s24le",
    source_rate_hz=48_000,
    source_bits=24,
    source_is_float=False,
    sample_rate_hz=48_000,
    bit_depth=24,
    frames=480_000,
    shift_frames=0,
    resampled=False,
    dithered=False,
    sha256="0" * 64,
)


def conformed_file(**fields: Any) -> ConformedFile:
    return dataclasses.replace(_PLAIN, **fields)
