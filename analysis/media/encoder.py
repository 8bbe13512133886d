"""Writes WAV files, RF64 as soon as a file could pass 4 GiB: plain WAV would wrap its sizes without an error."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from analysis.core.samples import Samples

_SUBTYPES = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}
RIFF_LIMIT_BYTES = 2**32 - 2**20  # room for headers and further chunks (house choice)


class SoundWriter:
    """Takes blocks of shape (n_frames, n_channels). 16 and 24 bits are fixed point, 32 is floating point.

    Samples that came from a file of the same depth are written back bit for bit; others are rounded, and what lies over
    full scale is held at it. No dither is added: a copy must stay a copy.
    """

    def __init__(self, file: soundfile.SoundFile, bit_depth: int) -> None:
        self._file = file
        self._bit_depth = bit_depth
        self.frames = 0

    def write(self, block: Samples) -> None:
        """Append frames.

        Parameters
        ----------
        block : float array, shape (n_frames, n_channels)
            Full scale is 1.0. Not modified.
        """
        self._file.write(block if self._bit_depth == 32 else _fixed_point(block, self._bit_depth))
        self.frames += len(block)


def _fixed_point(block: Samples, bit_depth: int) -> NDArray[np.int32]:
    """Words of 32 bits with the sample in the upper `bit_depth`, as libsndfile takes them without scaling."""
    top = 2 ** (bit_depth - 1)
    words = np.clip(np.rint(np.asarray(block, np.float64) * top), -top, top - 1).astype(np.int32)
    return np.asarray(np.left_shift(words, 32 - bit_depth))


@contextmanager
def create_sound(
    path: Path, *, sample_rate_hz: int, channels: int, bit_depth: int, frames: int
) -> Iterator[SoundWriter]:
    """Write a WAV of about `frames` frames. It appears under its name only when it is whole and on disk.

    Raises
    ------
    ValueError
        For a bit depth other than 16, 24 and 32.
    """
    if bit_depth not in _SUBTYPES:
        raise ValueError(f"bit_depth must be one of {sorted(_SUBTYPES)}, not {bit_depth}")
    is_long = frames * channels * bit_depth // 8 > RIFF_LIMIT_BYTES
    part = path.with_name(f".{path.name}.part")
    try:
        with soundfile.SoundFile(
            part, "w", sample_rate_hz, channels, _SUBTYPES[bit_depth], format="RF64" if is_long else "WAV"
        ) as file:
            yield SoundWriter(file, bit_depth)
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
