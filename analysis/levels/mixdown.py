"""The sum of a song's files as one sound that a browser plays, and how loud it is: what a take is laid over.

Files are summed as they are (mono goes to both sides), from their common start; those at another rate are converted by
soxr at its high quality. The first pass finds the peak, which the second keeps at the ceiling where the sum would go
over it. Loudness is that of what was written (ITU-R BS.1770-5).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr

from analysis.core.blocks import Block
from analysis.core.reports import Record
from analysis.core.samples import Floats
from analysis.levels.loudness import LoudnessMeter
from analysis.media.reader import Media, open_media

# House choices: frames that are summed at once, and the highest sample of the sum (-1 dBFS).
_BLOCK_FRAMES = 2**16
_CEILING = 10 ** (-1 / 20)
_CHANNELS = 2
_SUBTYPE = "PCM_16"  # bits of the copy that a browser plays


@dataclass(frozen=True)
class Mixdown(Record):
    """What was written. `gain_db` is 0 where the sum fits as it is; no loudness is silence."""

    frames: int
    sample_rate_hz: int
    gain_db: float
    loudness_lufs: float | None


def write_mixdown(paths: Sequence[Path], to: Path, *, sample_rate_hz: int) -> Mixdown:
    """Write FLAC (RFC 9639), stereo, as long as the longest file. Memory does not grow with the length."""
    peak = max((float(np.abs(block).max(initial=0.0)) for block in _sums(paths, sample_rate_hz)), default=0.0)
    gain = min(1.0, _CEILING / peak) if peak else 1.0
    meter, frames = LoudnessMeter(sample_rate_hz, _CHANNELS), 0
    with soundfile.SoundFile(
        to, "w", samplerate=sample_rate_hz, channels=_CHANNELS, format="FLAC", subtype=_SUBTYPE
    ) as file:
        for block in _sums(paths, sample_rate_hz):
            mixed = block * np.float32(gain)
            meter.add(Block(mixed, frames))
            frames += len(mixed)
            file.write(mixed)
    loudness = meter.finish().integrated_lufs if frames else None
    return Mixdown(frames, sample_rate_hz, round(20 * float(np.log10(gain)), 2), loudness)


def _sums(paths: Sequence[Path], sample_rate_hz: int) -> Iterator[Floats]:
    """Blocks of the sum, all full but the last."""
    with ExitStack() as opened:
        streams = [_Stream(opened.enter_context(open_media(path)), sample_rate_hz) for path in paths]
        while parts := [part for stream in streams if len(part := stream.take(_BLOCK_FRAMES))]:
            mix = np.zeros((max(len(part) for part in parts), _CHANNELS), np.float32)
            for part in parts:
                mix[: len(part)] += part
            yield mix


class _Stream:
    """One file at the common rate, in stereo, as many frames at a time as are asked for."""

    def __init__(self, media: Media, sample_rate_hz: int) -> None:
        own_hz = media.facts.sample_rate_hz
        self._blocks = media.blocks()
        self._resampler = (
            soxr.ResampleStream(own_hz, sample_rate_hz, _CHANNELS, dtype="float32", quality="HQ")
            if own_hz != sample_rate_hz
            else None
        )
        self._rest = np.zeros((0, _CHANNELS), np.float32)
        self._is_over = False

    def take(self, frames: int) -> Floats:
        """Fewer only at the end of the file; none after it."""
        parts, have = [self._rest], len(self._rest)
        while have < frames and not self._is_over:
            parts.append(part := self._next())
            have += len(part)
        whole = np.concatenate(parts)
        self._rest = whole[frames:]
        return whole[:frames]

    def _next(self) -> Floats:
        block = next(self._blocks, None)
        self._is_over = block is None
        part = np.zeros((0, _CHANNELS), np.float32) if block is None else _stereo(block)
        if self._resampler is not None:
            part = np.asarray(self._resampler.resample_chunk(part, last=self._is_over), np.float32)
        return part


def _stereo(block: Floats) -> Floats:
    """Mono on both sides; of more channels the first two. What is no number counts as silence."""
    clean = np.nan_to_num(np.asarray(block, np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    return np.ascontiguousarray(np.repeat(clean, 2, axis=1) if clean.shape[1] == 1 else clean[:, :2])
