"""Parts of a copy: its samples, or the lowest and highest in equal stretches. Bounded, whatever is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import soundfile
from numpy.typing import NDArray

from portal.file_serving import local_copy, opened
from portal.intake.models import SourceFile

MOST_SECONDS = 30
MOST_POINTS = 4_096
MOST_CHANNELS = 2
MICROSECONDS_PER_S = 1_000_000
STRENGTH_STEPS = 255


class Playable(Protocol):
    """A FLAC of ours, in the store."""

    @property
    def key(self) -> str: ...

    @property
    def sample_rate_hz(self) -> int: ...

    @property
    def channels(self) -> int: ...

    @property
    def frames(self) -> int: ...


@dataclass(frozen=True)
class Part:
    """Frames `start` up to `start + frames` of a copy; what lies past its end is not there."""

    start: int
    frames: int

    @classmethod
    def of(cls, copy: Playable, *, start: int, frames: int) -> Part:
        start = min(max(0, start), copy.frames)
        return cls(start, max(0, min(frames, copy.frames - start, MOST_SECONDS * copy.sample_rate_hz)))


def words_of(copy: Playable, part: Part, *, mono: bool = False) -> NDArray[np.int16]:
    """16-bit words, shape (frames, channels): one channel, or two; more are averaged to one."""
    with opened(copy.key) as stored, soundfile.SoundFile(stored) as file:
        file.seek(part.start)
        words = np.asarray(file.read(part.frames, dtype="int16", always_2d=True), np.int16)
    if mono or copy.channels > MOST_CHANNELS:
        words = np.rint(words.mean(axis=1, keepdims=True)).astype(np.int16)
    return words


def words_after(copy: Playable, *, start: int, frames: int, lead: int) -> NDArray[np.int16]:
    """As `words_of`, of the copy with `lead` frames of silence before it, or without its first `-lead` frames."""
    frames = max(0, min(frames, MOST_SECONDS * copy.sample_rate_hz))
    before = max(0, min(frames, lead - start))
    part = Part.of(copy, start=max(0, start - lead), frames=frames - before)
    words = words_of(copy, part)
    return np.concatenate([np.zeros((before, words.shape[1]), np.int16), words])


def extremes_of(words: NDArray[np.int16], points: int) -> NDArray[np.int8]:
    """Lowest and highest sample of each of `points` stretches, over all channels, in 127ths of full scale."""
    if not len(words):
        return np.zeros((0, 2), np.int8)
    points = min(max(1, points), MOST_POINTS, len(words))
    edges = np.linspace(0, len(words), points, endpoint=False).astype(int)
    lows = np.minimum.reduceat(words.min(axis=1), edges)
    highs = np.maximum.reduceat(words.max(axis=1), edges)
    return small(np.stack([lows, highs], axis=1) / 2**15)


def small(extremes: NDArray[np.floating]) -> NDArray[np.int8]:
    """Outwards, so that a sound is never drawn as silence."""
    scaled = np.clip(extremes, -1, 1) * 127
    return np.stack([np.floor(scaled[:, 0]), np.ceil(scaled[:, 1])], axis=1).astype(np.int8)


def onsets_of(source: SourceFile) -> bytes:
    """Attacks: their number and times in microseconds (32 bits each), then strengths in a byte each."""
    with local_copy(source.features_key) as path, np.load(path, allow_pickle=False) as stored:
        attacks = stored["fine.band"] == 0
        times = np.rint(stored["fine.times_s"][attacks] * MICROSECONDS_PER_S).astype("<u4")
        strengths = np.clip(np.rint(stored["fine.strength"][attacks] * STRENGTH_STEPS), 0, STRENGTH_STEPS)
    return b"".join([np.array([len(times)], "<u4").tobytes(), times.tobytes(), strengths.astype(np.uint8).tobytes()])
