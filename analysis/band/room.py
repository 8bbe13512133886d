"""A small room: a tail of decaying noise, the same for everyone, added a block at a time."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analysis.band.tables import Tone

TAIL_S = 0.6
BEFORE_S = 0.012
ROOM_SEED = 1_907
Spectrum = npt.NDArray[np.complex64]


@lru_cache(maxsize=4)
def _room_spectra(sample_rate_hz: int) -> tuple[int, Spectrum]:
    """(Block length, spectra of the left and right tails padded to two blocks)."""
    frames = int(TAIL_S * sample_rate_hz)
    block = 1 << (frames - 1).bit_length()
    rng = np.random.default_rng(ROOM_SEED)
    time = np.arange(frames) / sample_rate_hz
    tails = rng.standard_normal((2, frames)) * np.exp(-time / (TAIL_S / 5.5)) * (time > BEFORE_S)
    tails = (tails + np.roll(tails, 1, axis=1)) / 2  # rooms swallow the top
    tails /= np.sqrt((tails**2).sum(axis=1, keepdims=True))
    return block, np.fft.rfft(tails.astype(np.float32), 2 * block).astype(np.complex64)


def add_room(sides: Tone, sample_rate_hz: int, wet: float) -> None:
    """Add the room's answer to (sides, frames), in place."""
    block, spectra = _room_spectra(sample_rate_hz)
    frames = sides.shape[1]
    dry = sides.mean(axis=0)
    for start in range(0, frames, block):
        part = dry[start : start + block]
        if not part.any():
            continue
        answer = np.fft.irfft(np.fft.rfft(part, 2 * block) * spectra[: len(sides)])[:, : frames - start]
        sides[:, start : start + answer.shape[1]] += answer.astype(np.float32) * np.float32(wet)
