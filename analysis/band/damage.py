"""Known ways to spoil sound: what clients' files really arrive with, each with its amount stated.

Functions on samples return a new array, (frames, channels); those on files change the file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from analysis.core.samples import Floats

# Shape (n_frames, n_channels), full scale 1.0.
Sound = Floats

# The smallest step of 16 bits, full scale being 1.0.
_STEP_16_BIT = np.float32(1 / 32_768)


def clip(samples: Sound, *, over_db: float) -> Sound:
    """Raise the gain until the peak stands `over_db` above full scale, then cut it there.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.

    Returns
    -------
    float32 array, the same shape
    """
    peak = float(np.abs(samples).max())
    gain = np.float32(10 ** (over_db / 20) / max(peak, 1e-12))
    spoilt: Sound = np.clip(samples * gain, -1.0, np.float32(1 - 2**-23))
    return spoilt


def turn_down(samples: Sound, *, by_db: float) -> Sound:
    """Less gain by `by_db`: after `clip` this leaves flat tops below full scale.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.

    Returns
    -------
    float32 array, the same shape
    """
    return samples * np.float32(10 ** (-by_db / 20))


def start_late(samples: Sound, *, frames: int) -> Sound:
    """The music comes `frames` later in a sound of the same length.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    frames : int
        Negative: earlier, the first frames lost.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt = np.zeros_like(samples)
    if frames >= 0:
        spoilt[frames:] = samples[: len(samples) - frames]
    else:
        spoilt[:frames] = samples[-frames:]
    return spoilt


def add_dc(samples: Sound, *, offset: float) -> Sound:
    """Add a constant to every sample.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    offset : float
        Full scale is 1.0.

    Returns
    -------
    float32 array, the same shape
    """
    return samples + np.float32(offset)


def invert(samples: Sound, *, channel: int) -> Sound:
    """Turn one channel upside down.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    channel : int
        From 0.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt = samples.copy()
    spoilt[:, channel] *= -1
    return spoilt


def silence_side(samples: Sound, *, channel: int) -> Sound:
    """Silence one channel.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    channel : int
        From 0.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt = samples.copy()
    spoilt[:, channel] = 0
    return spoilt


def drop_out(samples: Sound, *, start_frame: int, frames: int) -> Sound:
    """Digital silence in the middle of music.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    start_frame, frames : int
        Where, and how long.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt = samples.copy()
    spoilt[start_frame : start_frame + frames] = 0
    return spoilt


def stutter(samples: Sound, *, start_frame: int, frames: int) -> Sound:
    """A block that comes twice in a row, as when a buffer is played again.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    start_frame, frames : int
        The block that comes again right after itself.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt = samples.copy()
    spoilt[start_frame + frames : start_frame + 2 * frames] = samples[start_frame : start_frame + frames]
    return spoilt


def pad_bits(samples: Sound) -> Sound:
    """Only 16 bits of sound, to be written to a deeper file: its lowest bits are all zero.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.

    Returns
    -------
    float32 array, the same shape
    """
    spoilt: Sound = (np.round(samples / _STEP_16_BIT) * _STEP_16_BIT).astype(np.float32)
    return np.minimum(spoilt, 1 - _STEP_16_BIT)


def resample(samples: Sound, *, from_hz: int, to_hz: int) -> Sound:
    """The same sound at another rate, by spectrum: exact for what fits under both half rates.

    Parameters
    ----------
    samples : float32 array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified.
    from_hz, to_hz : int
        Rates before and after.

    Returns
    -------
    float32 array, shape (n_frames * to_hz / from_hz, rounded, n_channels)
    """
    common = np.gcd(from_hz, to_hz)
    up, down = to_hz // common, from_hz // common
    frames = -(-len(samples) // down) * down
    wanted = frames // down * up
    spectrum = np.fft.rfft(samples, frames, axis=0)
    bins = min(len(spectrum), wanted // 2 + 1)
    sound = np.fft.irfft(spectrum[:bins], wanted, axis=0) * (to_hz / from_hz)
    return sound[: round(len(samples) * to_hz / from_hz)].astype(np.float32)


def truncate_file(path: Path, *, keep: float) -> None:
    """Cut the file's bytes: the header still promises all of it, as after a broken copy."""
    with path.open("r+b") as file:
        file.truncate(int(path.stat().st_size * keep))
