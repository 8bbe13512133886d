"""Files in every format that clients send, written with the libraries at hand and from known samples."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import av
import numpy as np
import soundfile
from av.audio.frame import AudioFrame

from analysis.core.samples import Samples

FRAMES_PER_PACKET = 1_024
SCALE = {"s16": 2**15 - 1, "s32": 2**31 - 1}


def write_sound(path: Path, samples: Samples, sample_rate_hz: int = 48_000, **options: Any) -> Path:
    soundfile.write(path, samples, sample_rate_hz, **({"subtype": "PCM_24"} | options))
    return path


def write_encoded(
    path: Path,
    samples: Samples,
    sample_rate_hz: int = 48_000,
    *,
    codec: str,
    sample_format: str = "fltp",
    bit_rate: int = 192_000,
    container_options: dict[str, str] | None = None,
) -> Path:
    """What `av` calls the codec ("aac", "alac", "libmp3lame", "libopus"), in the container that the name ends in."""
    layout = "mono" if samples.shape[1] == 1 else "stereo"
    with av.open(str(path), "w", options=container_options or {}) as container:
        stream: Any = container.add_stream(codec, rate=sample_rate_hz, layout=layout, format=sample_format)
        stream.bit_rate = bit_rate
        for start in range(0, len(samples), FRAMES_PER_PACKET):
            piece = samples[start : start + FRAMES_PER_PACKET]
            frame = AudioFrame.from_ndarray(_words(piece, sample_format), format=sample_format, layout=layout)
            frame.sample_rate, frame.pts = sample_rate_hz, start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def _words(piece: Samples, sample_format: str) -> Any:
    kind = sample_format.removesuffix("p")
    if kind in SCALE:
        values = np.rint(piece * SCALE[kind]).astype(np.int16 if kind == "s16" else np.int32)
    else:
        values = piece.astype(np.float32)
    return np.ascontiguousarray(values.T if sample_format.endswith("p") else values.reshape(1, -1))


def riff_chunk(name: bytes, body: bytes) -> bytes:
    """A chunk of odd length is followed by a pad byte that its size does not count (BS.2088 Annex 2)."""
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def wav_bytes(*chunks: bytes, form: bytes = b"RIFF") -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return form + struct.pack("<I", len(body)) + body


def pcm_format(channels: int = 1, sample_rate_hz: int = 48_000, bits: int = 16) -> bytes:
    frame_bytes = channels * bits // 8
    return riff_chunk(
        b"fmt ", struct.pack("<HHIIHH", 1, channels, sample_rate_hz, sample_rate_hz * frame_bytes, frame_bytes, bits)
    )


def broadcast_chunk(*, time_reference_frames: int, description: bytes = b"take 3") -> bytes:
    """EBU Tech 3285 v2: description at 0, time reference at 338, coding history from 602."""
    body = bytearray(602)
    body[: len(description)] = description
    body[320:338] = b"2024-02-2912:34:56"
    body[338:346] = struct.pack("<II", time_reference_frames & 0xFFFFFFFF, time_reference_frames >> 32)
    return riff_chunk(b"bext", bytes(body))
