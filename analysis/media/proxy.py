"""The copy of a rough mix that goes to the client's browser: FLAC (RFC 9639), 16 bits, at the mix's own rate.

Every current browser plays FLAC, and it starts and jumps without the whole file. 16 bits with dither are beyond what a
train ride can tell, and a mix that has no more than 16 is copied exactly; the original stays as it came. The dither
comes from a seeded generator: made again it is the same file, byte for byte.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from analysis.core.samples import Samples
from analysis.media.reader import open_media

_BITS = 16  # see above (house choice)
_FULL_SCALE = 2 ** (_BITS - 1)
_DITHER_SEED = 1  # any one will do (house choice)


def write_proxy(path: Path, to: Path) -> None:
    """Decode block by block and write; memory does not grow with the length."""
    with open_media(path) as media:
        facts = media.facts
        with soundfile.SoundFile(
            to, "w", samplerate=facts.sample_rate_hz, channels=facts.channels, format="FLAC", subtype="PCM_16"
        ) as proxy:
            is_exact = not facts.is_float and facts.bit_depth is not None and facts.bit_depth <= _BITS
            for words in _words(media.blocks(), needs_dither=not is_exact):
                proxy.write(words)


def _words(blocks: Iterator[Samples], *, needs_dither: bool) -> Iterator[NDArray[np.int16]]:
    """16-bit words, with triangular dither two steps wide; what lies over full scale is held at it."""
    dice = np.random.default_rng(_DITHER_SEED)
    for samples in blocks:
        words = samples * _FULL_SCALE
        if needs_dither:
            words = words + dice.random(samples.shape) - dice.random(samples.shape)
        words = np.rint(words)
        yield np.clip(words, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int16)
