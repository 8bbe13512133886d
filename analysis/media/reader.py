"""Opens files, and alone does so: by content, never by name, and decodes them in blocks of bounded size.

libsndfile reads PCM containers, FLAC, MP3, Vorbis and Opus; FFmpeg's libraries read MP4 (AAC, ALAC), raw AAC and
whatever libsndfile refuses.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile

from analysis.core.errors import NotAudioError, UnreadableError
from analysis.core.samples import Samples
from analysis.media import metadata
from analysis.media.chunks import Chunk, missing_bytes, ogg_missing_bytes, outline, unclaimed_bytes
from analysis.media.encoder import SoundWriter, create_sound
from analysis.media.facts import MediaFacts
from analysis.media.file_type import HEAD_BYTES, Content, identify
from analysis.media.sound_decoder import SoundFileDecoder

__all__ = ["Media", "SoundWriter", "create_sound", "file_pieces", "open_media"]

# About 1.4 s at 48 kHz: long enough that per-block work does not count, short enough to stay in the cache (house
# choices, as are the limits below).
_BLOCK_FRAMES = 65_536
_BLOCK_SAMPLES_AT_MOST = 8 * _BLOCK_FRAMES
_MOST_CHANNELS = 64
# libsndfile does not know these, or (MP4) not by all its codecs.
_FFMPEG_CONTAINERS = frozenset({"mp4", "adts", "matroska"})
_MOST_HOURS = 12
_RATES_HZ = range(1_000, 768_001)
# A last chunk may be followed by padding and tags of other programs; more than this is sound that no header counts.
_UNCLAIMED_BYTES_AT_MOST = 16 * 2**20


class Decoder(Protocol):
    facts: MediaFacts

    def blocks(self, frames: int) -> Iterator[Samples]:
        """Blocks of at most `frames` frames, as `Media.blocks` describes them."""

    def skip(self, frames: int) -> None: ...

    def close(self) -> None: ...


@dataclass(frozen=True)
class Media:
    """One open file. `tags` holds what its metadata says, by open standard."""

    decoder: Decoder
    container: str
    size_bytes: int
    missing_bytes: int = 0
    unclaimed_bytes: int = 0
    tags: dict[str, object] = field(default_factory=dict)

    @property
    def facts(self) -> MediaFacts:
        return self.decoder.facts

    def blocks(self) -> Iterator[Samples]:
        """Decode the file from its start.

        A decoder that gives up in mid-file ends the iteration and says so in `facts.broke_off`.

        Yields
        ------
        float array, shape (n_frames, n_channels)
            Full scale is 1.0; float64 where single precision cannot hold the samples. Valid until the next
            block is asked for.

        Raises
        ------
        UnreadableError
            Where the sound is longer than that of any song: silence of 200 hours packs into 2 MB.
        """
        left = _MOST_HOURS * 3_600 * self.facts.sample_rate_hz
        for block in self.decoder.blocks(min(_BLOCK_FRAMES, _BLOCK_SAMPLES_AT_MOST // self.facts.channels)):
            left -= len(block)
            if left < 0:
                raise UnreadableError(f"contains more than {_MOST_HOURS} hours of sound, the limit for one file")
            yield block

    def part(self, start_frame: int, frames: int) -> Samples:
        """Decode a short stretch. Use a fresh `Media` for it.

        Returns
        -------
        float32 array, shape (n_frames, n_channels)
            Full scale is 1.0. Fewer than `frames` frames where the file ends.
        """
        part = np.empty((frames, self.facts.channels), np.float32)
        done = 0
        self.decoder.skip(start_frame)
        for block in self.blocks():
            taken = block[: frames - done]
            part[done : done + len(taken)] = taken
            done += len(taken)
            if done >= frames:
                break
        return part[:done]


@contextmanager
def open_media(path: Path) -> Iterator[Media]:
    """Open a file that holds sound, or raise `NotAudioError` or `UnreadableError` with a reason for people."""
    size_bytes = path.stat().st_size
    content = _read_content(path, size_bytes=size_bytes)
    if content.container is None:
        reason = f"is not audio but {content.is_called}" if size_bytes else "is empty: it has no bytes"
        raise NotAudioError(reason, content.is_called)
    chunks, tags, missing = _read_outline(path, content.container, size_bytes=size_bytes)
    decoder = _open_decoder(path, content.container)
    try:
        _refuse_unlikely(decoder.facts)
        yield Media(
            decoder,
            content.container,
            size_bytes,
            missing,
            _lost_bytes(chunks, size_bytes=size_bytes),
            tags | decoder.facts.tags,
        )
    finally:
        decoder.close()


def _read_content(path: Path, *, size_bytes: int) -> Content:
    with path.open("rb") as file:
        return identify(file.read(HEAD_BYTES), size_bytes=size_bytes)


def file_pieces(path: Path, *, piece_bytes: int = 2**20) -> Iterator[memoryview]:
    """The file's own bytes, piece by piece in one buffer, for hashing."""
    buffer = memoryview(bytearray(piece_bytes))
    with path.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            yield buffer[:count]


def _read_outline(path: Path, container: str, *, size_bytes: int) -> tuple[tuple[Chunk, ...], dict[str, object], int]:
    """Chunks, tags, and bytes of sound that are promised and not there."""
    with path.open("rb") as file:
        chunks = outline(file, container, size_bytes=size_bytes)
        tags = metadata.read_tags(file, container, chunks, size_bytes=size_bytes)
        if container == "ogg":
            return chunks, tags, ogg_missing_bytes(file, size_bytes=size_bytes)
        return chunks, tags, missing_bytes(chunks, size_bytes=size_bytes)


def _lost_bytes(chunks: tuple[Chunk, ...], *, size_bytes: int) -> int:
    lost = unclaimed_bytes(chunks, size_bytes=size_bytes)
    return lost if lost > _UNCLAIMED_BYTES_AT_MOST else 0


def _open_decoder(path: Path, container: str) -> Decoder:
    if container not in _FFMPEG_CONTAINERS:
        try:
            # By descriptor: given a name, libsndfile would let the ending decide.
            return SoundFileDecoder(os.open(path, os.O_RDONLY), container)
        except (soundfile.LibsndfileError, ValueError, TypeError):
            pass
    # Loaded only where it is needed: a tenth of the start of a child that measures a WAV.
    from analysis.media import av_decoder

    try:
        return av_decoder.AvDecoder(path, container)
    except av_decoder.CodecError as error:
        raise UnreadableError(f"contains sound in a codec that is not read here ({error})") from error
    except av_decoder.DECODER_ERRORS as error:
        raise UnreadableError(f"claims to be {container} audio, but its header makes no sense") from error


def _refuse_unlikely(facts: MediaFacts) -> None:
    if not 1 <= facts.channels <= _MOST_CHANNELS:
        raise UnreadableError(f"claims {facts.channels} channels")
    if facts.sample_rate_hz not in _RATES_HZ:
        raise UnreadableError(f"claims a sample rate of {facts.sample_rate_hz} Hz")
