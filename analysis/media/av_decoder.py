"""Decodes by FFmpeg's libraries: one format, named by us, from one open file.

FFmpeg would guess a format by content and name among some hundred, and follow what a file points to. Here it gets an
open file instead of a name, the one format that the first bytes are of, a list of codecs, and no protocol at all.
Tested through the reader, in `tests/analysis/media/test_reader.py` and `test_hostile_formats.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from io import SEEK_SET, FileIO
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.audio.codeccontext import AudioCodecContext
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from numpy.typing import NDArray

from analysis.core.samples import Samples
from analysis.media.facts import MediaFacts

DECODER_ERRORS = (av.error.FFmpegError, ValueError, IndexError)
# What FFmpeg calls the containers of `file_type`.
FORMATS = {
    "wav": "wav",
    "rf64": "wav",
    "bw64": "wav",
    "w64": "w64",
    "aiff": "aiff",
    "aifc": "aiff",
    "caf": "caf",
    "flac": "flac",
    "ogg": "ogg",
    "mp3": "mp3",
    "adts": "aac",
    "mp4": "mov",
    "matroska": "matroska",
}
# Codecs that sound is sent in (house choice), as FFmpeg calls their decoders. A video's pictures are never decoded.
CODECS = (
    *("aac", "ac3", "eac3", "alac", "flac", "mp3float", "mp3", "mp2float", "mp2", "opus", "vorbis", "wavpack"),
    *("adpcm_ms", "adpcm_ima_wav", "adpcm_ima_qt", "pcm_alaw", "pcm_mulaw"),
    *(f"pcm_{kind}{bits}{order}" for kind in "su" for bits in (16, 24, 32) for order in ("le", "be")),
    *("pcm_s8", "pcm_u8", "pcm_f32le", "pcm_f32be", "pcm_f64le", "pcm_f64be"),
)
# A name that no protocol has: an empty list would allow all.
_NO_PROTOCOL = "none"
# Bits that lossless codecs keep in FFmpeg's sample formats; none keeps more than 24 in `s32`.
_LOSSLESS_BITS = {"s16": 16, "s32": 24, "u8": 8, "flt": 32, "dbl": 64}
_LOSSLESS_CODECS = frozenset({"alac", "flac", "tta", "wavpack", "ape"})
# The decoder's own configuration of ALAC: 12 bytes of atom header, then the bit depth as the sixth byte.
_ALAC_DEPTH_BYTE = 17
# Full scale of integer samples (arithmetic).
_SCALES = {"i2": 2**15, "i4": 2**31, "u1": 2**7}


class _OpenFile(FileIO):
    """A place that no file has is an answer to FFmpeg, not an exception on its way through it."""

    def seek(self, offset: int, whence: int = SEEK_SET, /) -> int:
        try:
            return super().seek(offset, whence)
        except OSError:
            return -1


class CodecError(ValueError):
    """Sound in a codec that is not in `CODECS`; the message is its name."""


class AvDecoder:
    """Opens the first audio stream of a file of this container, or raises one of `DECODER_ERRORS`."""

    def __init__(self, path: Path, container: str) -> None:
        self._skipped = 0
        self._file = _OpenFile(path)
        try:
            self._container = _open(self._file, FORMATS[container])
        except DECODER_ERRORS:
            self._file.close()
            raise
        try:
            self._stream: AudioStream = self._container.streams.audio[0]
            self.facts = _facts(self._stream, is_mp4=container == "mp4")
        except DECODER_ERRORS:
            self.close()
            raise

    def blocks(self, frames: int) -> Iterator[Samples]:
        """Gather the decoder's frames; what the encoder padded after the declared end is left off.

        Parameters
        ----------
        frames : int
            Length of all blocks but the last.

        Yields
        ------
        float array, shape (n_frames, n_channels)
            Full scale is 1.0; float64 where the decoder gives 32-bit integers or doubles.
        """
        held: list[Samples] = []
        count, left, to_skip = 0, self.facts.declared_frames, self._skipped
        for piece in self._pieces():
            kept = piece if left is None else piece[:left]
            left = None if left is None else left - len(kept)
            kept, to_skip = kept[to_skip:], max(0, to_skip - len(kept))
            held.append(kept)
            count += len(kept)
            while count >= frames:
                block = np.concatenate(held)
                yield block[:frames]
                held, count = [block[frames:]], count - frames
        if count:
            yield np.concatenate(held)

    def _pieces(self) -> Iterator[Samples]:
        try:
            for frame in self._container.decode(self._stream):
                piece = _samples_of(frame)
                if frame.sample_rate != self.facts.sample_rate_hz or piece.shape[1] != self.facts.channels:
                    self.facts.broke_off = True
                    return
                yield piece
        except DECODER_ERRORS:
            self.facts.broke_off = True

    def skip(self, frames: int) -> None:
        """Begin `blocks` that much later. Seeking is not exact to the sample, so what comes before is decoded."""
        self._skipped = frames

    def close(self) -> None:
        self._container.close()
        self._file.close()


def _open(file: FileIO, format_name: str) -> InputContainer:
    options = {
        "protocol_whitelist": _NO_PROTOCOL,
        "format_whitelist": format_name,
        "codec_whitelist": ",".join(CODECS),
    }
    if format_name == "mov":
        # Tracks that lie in another file: off by default, and said here so that it stays so.
        options |= {"enable_drefs": "0", "use_absolute_path": "0"}
    return av.open(file, mode="r", format=format_name, container_options=options, metadata_errors="replace")


def _samples_of(frame: AudioFrame) -> Samples:
    """A decoder's frame as floats, shape (n_frames, n_channels), full scale 1.0."""
    values: NDArray[np.number[Any]] = frame.to_ndarray()
    if not frame.format.is_planar:
        values = values.reshape(-1, frame.layout.nb_channels).T
    kind = values.dtype.str[1:]
    if kind not in _SCALES:
        return np.asarray(values.T)
    if kind == "u1":
        values = values.astype(np.float32) - _SCALES[kind]
    # 32-bit words do not fit a float's 24 bits.
    wide: Samples = values.T.astype(np.float64 if kind == "i4" else np.float32)
    return wide / wide.dtype.type(_SCALES[kind])


def _facts(stream: AudioStream, *, is_mp4: bool) -> MediaFacts:
    context: AudioCodecContext | None = stream.codec_context
    if context is None:
        raise ValueError("no decoder for this codec")
    if context.name not in CODECS:
        raise CodecError(context.name)
    sample_format = context.format.name.removesuffix("p") if context.format else ""
    lossless = context.name in _LOSSLESS_CODECS or context.name.startswith("pcm_")
    bits = _bits(context.name, sample_format, context.extradata) if lossless else None
    declared = None
    if is_mp4 and stream.duration and stream.time_base:
        # FFmpeg trims the encoder's delay by the edit list, but leaves the padding of the last packet in.
        declared = round(stream.duration * stream.time_base * context.sample_rate)
    return MediaFacts(
        codec=context.name.removesuffix("float"),
        lossy=not lossless,
        sample_rate_hz=context.sample_rate,
        channels=context.channels,
        bit_depth=bits,
        is_float=lossless and sample_format in ("flt", "dbl"),
        declared_frames=declared,
    )


def _bits(codec: str, sample_format: str, extradata: bytes | None) -> int | None:
    if codec == "alac" and extradata and len(extradata) > _ALAC_DEPTH_BYTE:
        return extradata[_ALAC_DEPTH_BYTE]
    if codec.startswith("pcm_"):
        digits = "".join(character for character in codec.partition("_")[2] if character.isdigit())
        return int(digits) if digits else None
    return _LOSSLESS_BITS.get(sample_format)
