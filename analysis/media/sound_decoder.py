"""Decodes by libsndfile. Tested through the reader, in `tests/analysis/media/test_reader.py`."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator

import numpy as np
import soundfile

from analysis.core.samples import Samples
from analysis.media.facts import MediaFacts

# Subtype → (codec without byte order, bits, float?). Subtypes that are not listed are old lossy telephone codecs.
_PCM_SUBTYPES: dict[str, tuple[str, int, bool]] = {
    "PCM_S8": ("pcm_s8", 8, False),
    "PCM_U8": ("pcm_u8", 8, False),
    "PCM_16": ("pcm_s16", 16, False),
    "PCM_24": ("pcm_s24", 24, False),
    "PCM_32": ("pcm_s32", 32, False),
    "FLOAT": ("pcm_f32", 32, True),
    "DOUBLE": ("pcm_f64", 64, True),
}
_OTHER_CODECS = {"VORBIS": "vorbis", "OPUS": "opus", "MPEG_LAYER_III": "mp3", "MPEG_LAYER_II": "mp2"}
_BIG_ENDIAN_CONTAINERS = frozenset({"aiff", "aifc", "caf"})
_WITHOUT_BYTE_ORDER = frozenset({"pcm_s8", "pcm_u8"})


# What libsndfile may find in a container of `file_type`: it looks for itself, and knows formats that we never meant.
_FORMATS = {
    "wav": ("WAV", "WAVEX"),
    "rf64": ("RF64",),
    "w64": ("W64",),
    "aiff": ("AIFF",),
    "aifc": ("AIFF",),
    "caf": ("CAF",),
    "flac": ("FLAC",),
    "ogg": ("OGG",),
    "mp3": ("MP3",),
}


class SoundFileDecoder:
    """Takes over the descriptor and closes it. Raises ValueError for a file that is of another format than it said."""

    def __init__(self, descriptor: int, container: str) -> None:
        try:
            self._file = soundfile.SoundFile(descriptor, closefd=True)
        except (soundfile.LibsndfileError, ValueError, TypeError):
            # libsndfile closes a descriptor that it has accepted, not one that it refuses.
            _close_quietly(descriptor)
            raise
        if self._file.format not in _FORMATS.get(container, ()):
            self._file.close()
            raise ValueError(f"{self._file.format} in {container}")
        self.facts = _facts(self._file, container)

    def blocks(self, frames: int) -> Iterator[Samples]:
        """Decode to the end.

        Parameters
        ----------
        frames : int
            Length of all blocks but the last.

        Yields
        ------
        float array, shape (n_frames, n_channels)
            Full scale is 1.0; float64 where single precision cannot hold the samples. Overwritten by the next block.
        """
        # 32-bit integers and doubles do not fit a float's 24 bits.
        needs_double = (self.facts.bit_depth or 0) > 24 and self._file.subtype != "FLOAT"
        buffer = np.empty((frames, self.facts.channels), np.float64 if needs_double else np.float32)
        while True:
            try:
                block: Samples = self._file.read(out=buffer)
            except soundfile.LibsndfileError:
                self.facts.broke_off = True
                return
            if not len(block):
                return
            yield block

    def skip(self, frames: int) -> None:
        """Begin `blocks` that much later. Beyond the end: at the end."""
        self._file.seek(min(frames, self._file.frames))

    def close(self) -> None:
        self._file.close()


def _close_quietly(descriptor: int) -> None:
    with contextlib.suppress(OSError):
        os.close(descriptor)


def _facts(file: soundfile.SoundFile, container: str) -> MediaFacts:
    codec, bits, is_float, lossy = _codec(file, container)
    frames = int(file.frames)
    return MediaFacts(
        codec=codec,
        lossy=lossy,
        sample_rate_hz=int(file.samplerate),
        channels=int(file.channels),
        bit_depth=bits,
        is_float=is_float,
        # libsndfile answers with the largest 64-bit number where it does not know, and guesses where Ogg is chained.
        declared_frames=frames if 0 <= frames < 2**62 and container != "ogg" else None,
    )


def _codec(file: soundfile.SoundFile, container: str) -> tuple[str, int | None, bool, bool]:
    """Codec, bits per sample, whether it is floating point, whether it loses anything."""
    subtype = file.subtype
    if subtype.startswith("ALAC_"):
        return "alac", int(subtype.removeprefix("ALAC_")), False, False
    if subtype not in _PCM_SUBTYPES:
        return _OTHER_CODECS.get(subtype, subtype.lower()), None, False, True
    codec, bits, is_float = _PCM_SUBTYPES[subtype]
    if container == "flac":
        return "flac", bits, is_float, False
    if codec in _WITHOUT_BYTE_ORDER:
        return codec, bits, is_float, False
    return codec + _byte_order(file, container), bits, is_float, False


def _byte_order(file: soundfile.SoundFile, container: str) -> str:
    stated = {"LITTLE": "le", "BIG": "be"}.get(file.endian)
    return stated or ("be" if container in _BIG_ENDIAN_CONTAINERS else "le")
