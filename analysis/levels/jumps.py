"""Edits that click: the wave jumps from one sample to the next, in sound that does not.

The second difference of a jump stands alone; that of a stroke goes on after its start (house choices).
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d

from analysis.core.blocks import Block

# A jump is at least this high (-40 dBFS) and this many times all second differences on both sides.
_LEAST, _OVER = 0.01, 12.0
# Out of what is stiller than this share of the jump a wave may well jump: a programmed stroke does (house choice).
_SOUND = 0.1
# What is compared lies from here to there around it, in frames.
_NEAR, _FAR = 4, 36
_MOST_JUMPS = 100


class JumpMeter:
    """Looks at each channel, each block together with the end of the one before."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._rate = sample_rate_hz
        self._held = np.zeros((channels, 0), np.float32)
        self._found: list[float] = []

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        joined = np.concatenate([self._held, block.by_channel], axis=1)
        first_frame = block.start_frame - self._held.shape[1]
        width = _FAR - _NEAR
        for row in joined:
            bend = np.abs(np.diff(row, 2))
            if len(bend) <= 2 * _FAR or len(self._found) >= _MOST_JUMPS or bend.max() < _LEAST:
                continue
            around = maximum_filter1d(bend, width)
            centre = (_NEAR + _FAR) // 2
            inside = bend[_FAR:-_FAR]
            before, after = around[_FAR - centre : len(bend) - _FAR - centre], around[_FAR + centre :][: len(inside)]
            wave = maximum_filter1d(np.abs(row[1:-1]), width)
            sounds = wave[_FAR - centre : len(bend) - _FAR - centre] > _SOUND * inside
            alone = np.flatnonzero((inside > _LEAST) & sounds & (inside > _OVER * np.maximum(before, after)))
            for place in alone[np.diff(alone, prepend=-_FAR) >= _FAR]:
                self._found.append((first_frame + int(place) + _FAR + 1) / self._rate)
        self._held = joined[:, max(0, joined.shape[1] - 2 * _FAR - 2) :].copy()

    def finish(self) -> tuple[float, ...]:
        """Seconds, in the order they were found."""
        return tuple(self._found)
