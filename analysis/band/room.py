"""What stands between instrument and file: a small room for everyone, a loudspeaker cabinet for driven strings, hiss.

Both answers are added block by block in the spectrum, in single precision: it is what keeps rendering quick.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analysis.band.tables import Tone
from analysis.core.samples import Doubles

# House choices: a small room whose tail lasts this long and answers after this gap, its noise drawn from this seed.
TAIL_S = 0.6
BEFORE_S = 0.012
_ROOM_SEED = 1_907
# Answers are no longer than a block.
BLOCK = 32_768
# House choices: a cabinet's answer in frames, the band it passes, and the gain into the overdrive.
_CABINET_TAPS = 512
_CABINET_HZ = (90.0, 4_500.0)
_DRIVE = np.float32(14.0)
_Spectra = npt.NDArray[np.complex64]


def _spectra(answers: Doubles) -> _Spectra:
    return np.fft.rfft(answers.astype(np.float32), 2 * BLOCK).astype(np.complex64)


@lru_cache(maxsize=4)
def _room(sample_rate_hz: int) -> _Spectra:
    """Left and right tails of decaying noise; rooms swallow the top."""
    frames = min(int(TAIL_S * sample_rate_hz), BLOCK)
    time = np.arange(frames) / sample_rate_hz
    noise = np.random.default_rng(_ROOM_SEED).standard_normal((2, frames))
    tails = noise * np.exp(-time / (TAIL_S / 5.5)) * (time > BEFORE_S)
    tails = (tails[:, 1:] + tails[:, :-1]) / 2
    return _spectra(tails / np.sqrt((tails**2).sum(axis=1, keepdims=True)))


@lru_cache(maxsize=4)
def _cabinet(sample_rate_hz: int) -> _Spectra:
    """A short answer that passes the middle and starts at once."""
    hz = np.fft.rfftfreq(_CABINET_TAPS, 1 / sample_rate_hz) + 1e-3
    passes = 1 / np.sqrt((1 + (_CABINET_HZ[0] / hz) ** 4) * (1 + (hz / _CABINET_HZ[1]) ** 8))
    centred = np.roll(np.fft.irfft(passes), _CABINET_TAPS // 2) * np.hanning(_CABINET_TAPS)
    early = centred[_CABINET_TAPS // 2 - 8 :]
    return _spectra((early - early.mean())[None, :])


def _answered(dry: Tone, spectra: _Spectra) -> Tone:
    """What comes back for (frames,): (answers, frames). Silence stays digital silence up to the first sound."""
    out = np.zeros((len(spectra), len(dry)), np.float32)
    for start in range(0, len(dry), BLOCK):
        part = dry[start : start + BLOCK]
        if part.any():
            answer = np.fft.irfft(np.fft.rfft(part, 2 * BLOCK) * spectra)[:, : len(dry) - start]
            out[:, start : start + answer.shape[1]] += answer
    out[:, : int(np.argmax(dry != 0))] = 0
    return out


def add_room(sides: Tone, sample_rate_hz: int, wet: float) -> None:
    """Add the room's answer, in place.

    Parameters
    ----------
    sides : float32 array, shape (1 or 2, n_frames)
        One row a side.
    sample_rate_hz : int
    wet : float
        Gain of the answer to the mean of the sides.
    """
    answer = _answered(sides.mean(axis=0), _room(sample_rate_hz)[: len(sides)])
    answer *= np.float32(wet)
    sides += answer


def drive(sides: Tone, sample_rate_hz: int) -> None:
    """Overdrive and play through a cabinet, in place: even, dense, with attacks rounded off.

    Parameters
    ----------
    sides : float32 array, shape (n_sides, n_frames)
        One row a side.
    sample_rate_hz : int
    """
    for side in range(len(sides)):
        sides[side] = _answered(np.tanh(sides[side] * _DRIVE), _cabinet(sample_rate_hz))[0]
    sides /= _DRIVE / 4


def add_hiss(sides: Tone, rms_dbfs: float, seed: int) -> None:
    """Steady noise over the whole file, other on each side, in place.

    Parameters
    ----------
    sides : float32 array, shape (n_sides, n_frames)
        One row a side, full scale 1.0.
    rms_dbfs : float
        Level of the noise, re full scale 1.0.
    seed : int
    """
    rng = np.random.default_rng(seed)
    sides += rng.standard_normal(sides.shape, np.float32) * np.float32(10 ** (rms_dbfs / 20))
