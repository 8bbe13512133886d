"""Holes of any length inside a file: digital silence that begins or ends in full sound.

Gates and edits leave silence too, but fade into it; a hole does not (house choice). What is as short as a lost buffer
is judged more finely in `dropouts.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.blocks import Block
from analysis.core.samples import Floats
from analysis.levels.dropouts import runs

# House choices: the shortest hole, what is looked at beside it, and how loud its very edge must be: against the sound
# before it, and at least -60 dBFS. Where a file is hardly ever silent, its noise is broken off too: -80 dBFS and up to
# the share of silence below.
_SHORTEST_S, _AROUND_S, _EDGE_FRAMES = 0.02, 0.01, 24
_EDGE_RE_AROUND, _EDGE_RMS, _NOISE_RMS, _HARDLY_SILENT = 0.3, 1e-3, 1e-4, 0.05
# Strokes of a program or behind a gate begin at full level out of silence. With more holes than this, or more silence
# than this share from the first sound to the last, only those count that have the same sound on both sides, as loud
# before as this share of what follows (house choices).
_FEW_HOLES, _MOSTLY_SILENT, _ALIKE = 5, 0.3, 0.3
_MOST_HOLES = 100


@dataclass(frozen=True)
class _Hole:
    """`place`: start and length in seconds. `alike`: as loud before as after; `is_loud`: broken off in full sound."""

    place: tuple[float, float]
    alike: bool
    is_loud: bool


class HoleMeter:
    """Finds stretches in which all channels are exactly zero, with sound on both sides."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._shortest = round(_SHORTEST_S * sample_rate_hz)
        self._around = round(_AROUND_S * sample_rate_hz)
        # The sound before a run of zeros that has not ended, whether it stopped at full level, and where.
        self._before = np.zeros(0, np.float32)
        self._zeros = 0
        self._found: list[_Hole] = []
        # Frames of silence inside, and of everything from the first sound on.
        self._silent, self._frames = 0, 0

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        loudest = np.abs(block.by_channel).max(axis=0)
        done = 0
        for start, end in [*runs(loudest == 0.0, 1 if self._zeros else self._shortest), (len(loudest), len(loudest))]:
            if start > done:
                self._sound(loudest[done:start], block.start_frame + done)
            self._zeros += end - start
            done = end

    def _sound(self, loudest: Floats, frame: int) -> None:
        """A stretch that is not silent follows."""
        inside, trailing = self._zeros if len(self._before) else 0, _trailing_zeros(loudest)
        self._silent += inside
        self._frames += inside + len(loudest) - trailing
        after = loudest[: self._around]
        is_inside = self._zeros >= self._shortest and len(self._before) and len(self._found) < _MOST_HOLES
        edge = max(self._edge(self._before[::-1]), self._edge(after)) if is_inside else 0.0
        if edge > _NOISE_RMS:
            alike = _rms(self._before) > _ALIKE * _rms(after)
            place = (frame - self._zeros) / self._rate, self._zeros / self._rate
            self._found.append(_Hole(place, alike=alike, is_loud=edge > _EDGE_RMS))
        self._zeros = trailing
        kept = loudest[: len(loudest) - trailing]
        self._before = np.concatenate([self._before, kept])[-self._around :].copy()

    def _edge(self, from_edge: Floats) -> float:
        """The sound's RMS at its edge where it is as loud there as further in; 0.0 where it was faded."""
        if len(from_edge) < self._around:
            return 0.0
        edge, around = _rms(from_edge[:_EDGE_FRAMES]), _rms(from_edge)
        return edge if edge > _EDGE_RE_AROUND * around else 0.0

    def finish(self) -> tuple[tuple[float, float], ...]:
        """(start, length) in seconds of each hole."""
        loud = [hole for hole in self._found if hole.is_loud]
        if len(self._found) <= _FEW_HOLES and self._silent <= _HARDLY_SILENT * self._frames:
            return tuple(hole.place for hole in self._found)
        few = len(loud) <= _FEW_HOLES and self._silent <= _MOSTLY_SILENT * self._frames
        return tuple(hole.place for hole in loud if few or hole.alike)


def _rms(samples: Floats) -> float:
    return float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))) if len(samples) else 0.0


def _trailing_zeros(loudest: Floats) -> int:
    sounding = np.flatnonzero(loudest)
    return len(loudest) - int(sounding[-1]) - 1 if len(sounding) else len(loudest)
