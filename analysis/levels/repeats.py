"""A passage that stands in a file twice, bit for bit.

No two played strokes are alike to the last bit: a copy was pasted. The highest peak of each short piece is remembered
with the samples around it; the same samples again, many times at one distance, are a copy (house choices).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from analysis.core.blocks import Block

_PIECE_FRAMES, _AROUND_FRAMES = 1_024, 16
# Quieter peaks than -60 dBFS have too few steps to be told apart; a wave repeats itself at shorter distances than this.
_QUIET, _NEAREST_S = 1e-3, 0.25
# So many peaks over so long a time make a passage.
_FEWEST, _SHORTEST_S = 8, 0.5


@dataclass(frozen=True)
class Repeat:
    """A passage of `length_s` from `first_s` on stands again at `again_s`."""

    first_s: float
    again_s: float
    length_s: float


class RepeatMeter:
    """Looks at the first channel."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._first: dict[bytes, int] = {}
        self._again: dict[int, list[int]] = defaultdict(list)

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        row = np.ascontiguousarray(block.by_channel[0])
        size = np.abs(row[: len(row) // _PIECE_FRAMES * _PIECE_FRAMES]).reshape(-1, _PIECE_FRAMES)
        if not len(size):
            return
        peaks = size.argmax(axis=1)
        for piece in np.flatnonzero(size.max(axis=1) > _QUIET):
            place = int(piece) * _PIECE_FRAMES + int(peaks[piece])
            if _AROUND_FRAMES <= place < len(row) - _AROUND_FRAMES:
                key = row[place - _AROUND_FRAMES : place + _AROUND_FRAMES].tobytes()
                self._note(key, block.start_frame + place)

    def _note(self, key: bytes, frame: int) -> None:
        first = self._first.setdefault(key, frame)
        if frame - first > _NEAREST_S * self._rate:
            self._again[frame - first].append(frame)

    def finish(self) -> Repeat | None:
        """The longest passage; None without one."""
        distance, frames = max(self._again.items(), key=lambda item: len(item[1]), default=(0, []))
        if len(frames) < _FEWEST or frames[-1] - frames[0] < _SHORTEST_S * self._rate:
            return None
        again_s = frames[0] / self._rate
        return Repeat(again_s - distance / self._rate, again_s, (frames[-1] - frames[0]) / self._rate)
