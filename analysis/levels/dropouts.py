"""Dropouts: holes of digital silence, stuck values and repeated buffers in the middle of music.

No standard; house choice. Gates, edits and rests also make silence, so a hole counts only if it is as short as a lost
buffer, all channels are exactly zero, and the sound stops and comes back from full swing: its edges are steep
against the sound around it. A repeated buffer is an exact copy of the samples before it; a wave whose period fits the
buffer repeats for longer than that, and is none.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np

from analysis.core.blocks import Block
from analysis.core.reports import Dropout
from analysis.core.samples import Flags, Floats
from analysis.core.thresholds import Limits
from analysis.core.units import amplitude_from_db

_Kind = Literal["hole", "stuck", "repeat"]
# Buffer lengths of converters and programs in frames (common practice).
_BUFFER_FRAMES = (32, 64, 128, 256, 512, 1024, 2048)
# What is kept, every how many samples are looked at first, and how much sound around a hole is judged (house choices).
_MOST_DROPOUTS = 100
_LOOK_EVERY = 8
_SURROUNDING_S = 0.01
# The jump at each edge of a hole, against the RMS around it (house choice). Two in three samples of a sine exceed 0.7
# of its RMS (arithmetic).
_EDGE_RE_RMS = 0.25
# The same note goes on behind a hole; behind a rest a new one starts, louder than what died away (house choice: 8 dB).
_ALIKE = 2.5
# Sound of fewer steps than this crosses zero for several samples at a time, and repeats itself by chance
# (house choice).
_LSB_AROUND = 64.0
# Equal samples in a row that are no wave at all, in frames (house choice); 20 Hz at full scale rests for 5 in 16 bits
# (arithmetic).
_STUCK_FRAMES = 24
# A wave repeats itself as a buffer does; one that does so for this many buffers is a wave
# (house choice).
_REPEATS_AT_MOST = 3


# At low rates a hole still has this many frames; a copy this share of different values, or it is a slow ramp (house
# choices).
_FEWEST_FRAMES = 8
_LEAST_DISTINCT = 0.25
# What is stuck at a value is passed on both sides by at least this much, or it is a clipped peak (house choice).
_OVER_STUCK = 1.02


class DropoutMeter:
    """Looks at each block together with the end of the one before."""

    def __init__(self, sample_rate_hz: int, channels: int, *, bit_depth: int | None, limits: Limits) -> None:
        self._rate = sample_rate_hz
        self._shortest = max(_FEWEST_FRAMES, round(limits.dropout_shortest_s * sample_rate_hz))
        self._longest = round(limits.dropout_longest_s * sample_rate_hz)
        self._around = round(_SURROUNDING_S * sample_rate_hz)
        lsb = 2.0 ** (1 - min(bit_depth or 24, 24))
        self._floor = max(amplitude_from_db(limits.dropout_surrounding_dbfs), _LSB_AROUND * lsb)
        self._overlap = self._longest + 2 * self._around + 2 * _BUFFER_FRAMES[-1]
        self._held = np.zeros((channels, 0), np.float32)
        self._found: dict[int, Dropout] = {}

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        if len(self._found) >= _MOST_DROPOUTS:
            return
        joined = np.concatenate([self._held, block.by_channel], axis=1)
        first_frame = block.start_frame - self._held.shape[1]
        for start, length, kind in self._candidates(joined):
            frame = first_frame + start
            if not any(abs(frame - other) <= length for other in self._found):
                self._found[frame] = Dropout(frame / self._rate, length / self._rate, kind)
        self._held = joined[:, max(0, joined.shape[1] - self._overlap) :].copy()

    def _candidates(self, joined: Floats) -> Iterator[tuple[int, int, _Kind]]:
        # One channel shows whether anything rests at all; most blocks are done with here.
        if np.count_nonzero(joined[0, 1:] == joined[0, :-1]) >= self._shortest - 1:
            yield from self._holes_and_stuck(joined)
        yield from self._repeats(joined)

    def _holes_and_stuck(self, joined: Floats) -> Iterator[tuple[int, int, _Kind]]:
        loudest = np.abs(joined).max(axis=0)
        for start, end in runs(loudest == 0.0, self._shortest):
            if end - start <= self._longest and self._is_abrupt(joined, start, end):
                yield start, end - start, "hole"
        same = (joined[:, 1:] == joined[:, :-1]).all(axis=0) & (loudest[1:] > self._floor)
        for start, end in runs(same, max(_STUCK_FRAMES, self._shortest)):
            if end - start <= self._longest and self._moves_around(joined, start, end):
                yield start, end - start, "stuck"

    def _repeats(self, joined: Floats) -> Iterator[tuple[int, int, _Kind]]:
        # One channel finds the candidates, and of it every eighth sample says whether to look closer.
        first = joined[0]
        few = np.ascontiguousarray(first[::_LOOK_EVERY])
        for size in _BUFFER_FRAMES:
            step = size // _LOOK_EVERY
            if len(few) <= 2 * step or np.count_nonzero(few[step:] == few[:-step]) < step:
                continue
            equal = (first[size:] == first[:-size]) & (first[size:] != 0.0)
            for start, end in runs(equal, size):
                if end - start <= _REPEATS_AT_MOST * size and self._is_copy(joined, start, end, size):
                    yield start + size, end - start, "repeat"

    def _is_copy(self, joined: Floats, start: int, end: int, size: int) -> bool:
        copy, original = joined[:, start + size : end + size], joined[:, start:end]
        if not np.array_equal(copy, original) or float(np.abs(copy).max()) < self._floor:
            return False
        # A constant or a slow ramp equals itself; a buffer of music has many values.
        return len(np.unique(copy[0])) > size * _LEAST_DISTINCT and self._goes_on(joined, start + size, end + size)

    def _goes_on(self, joined: Floats, start: int, end: int) -> bool:
        """The music is there before and after, so the copy is in its middle."""
        return start >= self._around and end + self._around <= joined.shape[1]

    def _is_abrupt(self, joined: Floats, start: int, end: int) -> bool:
        if not self._goes_on(joined, start, end):
            return False
        before, after = joined[:, start - self._around : start], joined[:, end : end + self._around]
        quiet, loud = sorted((_rms(before), _rms(after)))
        if quiet <= self._floor or loud > _ALIKE * quiet:
            return False
        edges = (np.abs(before[:, -1]).max(), np.abs(after[:, 0]).max())
        return bool(edges[0] > _EDGE_RE_RMS * _rms(before) and edges[1] > _EDGE_RE_RMS * _rms(after))

    def _moves_around(self, joined: Floats, start: int, end: int) -> bool:
        """Sound on both sides that is not at the same extreme: a clipped peak is another matter."""
        if not self._goes_on(joined, start, end):
            return False
        value = float(np.abs(joined[:, start]).max())
        sides = (joined[:, start - self._around : start], joined[:, end + 1 : end + 1 + self._around])
        return all(_rms(side) > self._floor and float(np.abs(side).max()) > _OVER_STUCK * value for side in sides)

    def finish(self) -> tuple[Dropout, ...]:
        return tuple(self._found[frame] for frame in sorted(self._found))


def runs(mask: Flags, shortest: int) -> list[tuple[int, int]]:
    """Stretches of True.

    Parameters
    ----------
    mask : bool array, shape (n,)
    shortest : int
        Shorter stretches are left out.

    Returns
    -------
    list of (int, int)
        Start and end (exclusive) of each, in order.
    """
    if np.count_nonzero(mask) < shortest:
        return []
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    long_enough = ends - starts >= shortest
    return [(int(start), int(end)) for start, end in zip(starts[long_enough], ends[long_enough], strict=True)]


def _rms(samples: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))) if samples.size else 0.0
