"""Writes Broadcast WAV files: a WAV with a `bext` chunk, RF64 when it could pass 4 GiB.

`bext`: EBU Tech 3285 v2, its version 1 form, without a loudness of its own; dates and the UMID stay empty, so that the
same sound is the same file. Time reference: samples since midnight. Coding history: EBU R 98. RF64 and `ds64`: EBU
Tech 3306 (BS.2088). More than two channels: `WAVE_FORMAT_EXTENSIBLE` without speaker positions, in the order given.

All sizes are known beforehand, so the file is written from the first byte to the last, and hashed on the way.
"""

from __future__ import annotations

import hashlib
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np

from analysis.core.samples import Samples
from analysis.media.encoder import RIFF_LIMIT_BYTES

_ORIGINATOR = "Kitpost"  # ours
_VERSION = 1
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
# The end that all sub-formats share: WAVE_FORMAT_EXTENSIBLE, KSDATAFORMAT_SUBTYPE_PCM and _IEEE_FLOAT.
_SUBFORMAT_TAIL = bytes.fromhex("0000000010008000 00aa00389b71")
_IN_DS64 = 0xFFFF_FFFF
BROADCAST_DEPTHS = (16, 24, 32)


@dataclass(frozen=True)
class Broadcast:
    """What the chunk says. Text is cut to ASCII and to its field."""

    description: str = ""
    time_reference_frames: int = 0
    coding_history: str = ""


@dataclass
class BroadcastWriter:
    """Takes blocks of shape (n_frames, n_channels), full scale 1.0. 16 and 24 bits are fixed point, 32 floating point.

    Fixed point is rounded, and what lies over full scale is held at it and counted in `held_samples`.
    """

    file: BinaryIO
    bit_depth: int
    frames: int = 0
    held_samples: int = 0
    crc32: int = 0
    _digest: hashlib._Hash = field(default_factory=hashlib.sha256)

    @property
    def sha256(self) -> str:
        return self._digest.hexdigest()

    def write(self, block: Samples) -> None:
        """Append frames.

        Parameters
        ----------
        block : float array, shape (n_frames, n_channels)
            Full scale is 1.0. Not modified.
        """
        self.put(block.astype("<f4").tobytes() if self.bit_depth == 32 else self._fixed_point(block))
        self.frames += len(block)

    def put(self, content: bytes) -> None:
        self.file.write(content)
        self._digest.update(content)
        self.crc32 = zlib.crc32(content, self.crc32)

    def _fixed_point(self, block: Samples) -> bytes:
        top = 2 ** (self.bit_depth - 1)
        steps = np.rint(np.asarray(block, np.float64) * top)
        self.held_samples += int(np.count_nonzero((steps > top - 1) | (steps < -top)))
        words = np.clip(steps, -top, top - 1).astype("<i4")
        octets: np.ndarray[tuple[int, int], np.dtype[np.uint8]] = words.view(np.uint8).reshape(-1, 4)
        return octets[:, : self.bit_depth // 8].tobytes()


@contextmanager
def create_broadcast(
    path: Path, *, sample_rate_hz: int, channels: int, bit_depth: int, frames: int, broadcast: Broadcast | None
) -> Iterator[BroadcastWriter]:
    """Write a file of exactly `frames` frames; without `broadcast`, a WAV that says no more than its format. What
    stands there when it raises is not whole.

    Raises
    ------
    ValueError
        For a bit depth other than 16, 24 and 32, and when more or fewer frames were written.
    """
    if bit_depth not in BROADCAST_DEPTHS:
        raise ValueError(f"bit_depth must be one of {BROADCAST_DEPTHS}, not {bit_depth}")
    data_bytes = frames * channels * bit_depth // 8
    with path.open("wb") as file:
        writer = BroadcastWriter(file, bit_depth)
        writer.put(_head(sample_rate_hz, channels, bit_depth, frames, broadcast))
        yield writer
        writer.put(bytes(data_bytes % 2))  # a chunk of odd length is padded (RIFF 1991)
    if writer.frames != frames:
        raise ValueError(f"{writer.frames} frames were written, not {frames}")


def _head(sample_rate_hz: int, channels: int, bit_depth: int, frames: int, broadcast: Broadcast | None) -> bytes:
    """Everything before the first sample."""
    data_bytes = frames * channels * bit_depth // 8
    bext = _chunk(b"bext", _bext(broadcast)) if broadcast else b""
    chunks = bext + _chunk(b"fmt ", _format(sample_rate_hz, channels, bit_depth))
    is_long = data_bytes > RIFF_LIMIT_BYTES
    ds64_bytes = 8 + 28 if is_long else 0
    riff_bytes = 4 + ds64_bytes + len(chunks) + 8 + data_bytes + data_bytes % 2
    if not is_long:
        return b"RIFF" + struct.pack("<I", riff_bytes) + b"WAVE" + chunks + b"data" + struct.pack("<I", data_bytes)
    ds64 = _chunk(b"ds64", struct.pack("<QQQI", riff_bytes, data_bytes, frames, 0))
    in_ds64 = struct.pack("<I", _IN_DS64)
    return b"RF64" + in_ds64 + b"WAVE" + ds64 + chunks + b"data" + in_ds64


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) % 2)


def _format(sample_rate_hz: int, channels: int, bit_depth: int) -> bytes:
    frame_bytes = channels * bit_depth // 8
    sort = _FLOAT if bit_depth == 32 else _PCM
    is_extensible = channels > 2
    tag = _EXTENSIBLE if is_extensible else sort
    plain = struct.pack("<HHIIHH", tag, channels, sample_rate_hz, sample_rate_hz * frame_bytes, frame_bytes, bit_depth)
    if not is_extensible:
        return plain
    return plain + struct.pack("<HHIH", 22, bit_depth, 0, sort) + _SUBFORMAT_TAIL


def _bext(broadcast: Broadcast) -> bytes:
    """Description 256, originator 32, its reference 32, date 10, time 8, time reference 8, version 2, UMID 64, reserved
    190, then the coding history: 602 bytes and a text."""
    history = broadcast.coding_history.encode("ascii", "replace")
    return (
        struct.pack(
            "<256s32s32s10s8sQH64s190s",
            broadcast.description.encode("ascii", "replace"),
            _ORIGINATOR.encode(),
            *(b"", b"", b""),
            broadcast.time_reference_frames,
            _VERSION,
            *(b"", b""),
        )
        + history
    )
