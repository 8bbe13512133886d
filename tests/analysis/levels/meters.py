"""Feeds samples to a meter as files come: in blocks that end anywhere."""

from typing import Protocol, TypeVar

from analysis.core.blocks import Block
from analysis.core.samples import Samples


class Meter(Protocol):
    def add(self, block: Block) -> None: ...


_M = TypeVar("_M", bound=Meter)


def feed(meter: _M, samples: Samples, *, block_frames: int = 10_007) -> _M:
    for start in range(0, len(samples), block_frames):
        meter.add(Block(samples[start : start + block_frames], start))
    return meter
