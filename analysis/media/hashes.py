"""What makes two files the same: their bytes, or their sound."""

from __future__ import annotations

import hashlib
from pathlib import Path

from analysis.core.blocks import Block
from analysis.media.reader import file_pieces


def sha256_of_file(path: Path) -> str:
    digest = hashlib.sha256()
    for piece in file_pieces(path):
        digest.update(piece)
    return digest.hexdigest()


class AudioDigest:
    """Equal for equal decoded samples, whatever container and depth carried them.

    Hashes each bucket's highest and lowest sample instead of all samples: a 256th of the bytes, and any audible
    difference moves some of them.
    """

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self._digest = hashlib.sha256(f"{sample_rate_hz} {channels}".encode())
        self._frames = 0

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        self._digest.update(block.highs.tobytes())
        self._digest.update(block.lows.tobytes())
        self._frames += block.frames

    def finish(self) -> str:
        self._digest.update(str(self._frames).encode())
        return self._digest.hexdigest()
