"""Decodes by FFmpeg's libraries. Tested through the reader, in `tests/analysis/media/test_reader.py`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.audio.codeccontext import AudioCodecContext
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from numpy.typing import NDArray

from analysis.core.samples import Samples
from analysis.media.facts import MediaFacts

DECODER_ERRORS = (av.error.FFmpegError, ValueError, IndexError)
# Bits that lossless codecs keep in FFmpeg's sample formats; none keeps more than 24 in `s32`.
_LOSSLESS_BITS = {"s16": 16, "s32": 24, "u8": 8, "flt": 32, "dbl": 64}
_LOSSLESS_CODECS = frozenset({"alac", "flac", "tta", "wavpack", "ape"})
# The decoder's own configuration of ALAC: 12 bytes of atom header, then the bit depth as the sixth byte.
_ALAC_DEPTH_BYTE = 17
# Full scale of integer samples (arithmetic).
_SCALES = {"i2": 2**15, "i4": 2**31, "u1": 2**7}


class AvDecoder:
    """Opens the file's first audio stream, or raises one of `DECODER_ERRORS`."""

    def __init__(self, path: Path) -> None:
        self._skipped = 0
        self._container = av.open(str(path), metadata_errors="replace")
        try:
            self._stream: AudioStream = self._container.streams.audio[0]
            self.facts = _facts(self._stream, is_mp4="mp4" in self._container.format.name)
        except DECODER_ERRORS:
            self._container.close()
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
