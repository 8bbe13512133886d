"""Tones by table: one cycle of a harmonic sum, read at any pitch. Fast enough to play a song in seconds."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analysis.core.samples import Doubles, Floats

# Shape (n_frames,), peak near 1.
Tone = Floats

# Read without interpolation, the error is 79 dB down: a step of 2 pi / 16 384, over the root of 12.
_TABLE_FRAMES = 16_384
# Nobody hears higher; and from about the second up instruments die away: nothing may end in a cliff (house choices).
_HIGHEST_HZ = 20_000.0
SOFT_TOP_HZ = 5_500.0


def hz_of(pitch: float) -> float:
    """Frequency of a MIDI pitch, 69 being 440 Hz."""
    return float(440.0 * 2 ** ((pitch - 69) / 12))


def harmonics_below(hz: float, sample_rate_hz: int, most: int = 160) -> int:
    return max(1, min(most, int(min(_HIGHEST_HZ, 0.45 * sample_rate_hz) / hz)))


@lru_cache(maxsize=256)
def cycle(amplitudes: tuple[float, ...]) -> Tone:
    """One cycle of sines with these amplitudes, peak 1, with phases that keep it from being spiky.

    Returns
    -------
    float32 array, shape (_TABLE_FRAMES,)
        Shared between calls: not to be written to.
    """
    spectrum = np.zeros(_TABLE_FRAMES // 2 + 1, complex)
    count = np.arange(1, len(amplitudes) + 1)
    spectrum[count] = np.array(amplitudes) * -1j * np.exp(0.37j * (count - 1) ** 2)
    table = np.fft.irfft(spectrum)
    made: Tone = (table / np.abs(table).max()).astype(np.float32)
    return made


def read(table: Tone, hz: float, frames: int, sample_rate_hz: int, *, phase: float = 0.0) -> Tone:
    """Play a cycle at a steady pitch.

    Parameters
    ----------
    table : float32 array
        As `cycle` gives it.
    hz : float
        Pitch.
    frames, sample_rate_hz : int
        Length and rate of the tone.
    phase : float
        Where in the cycle it starts, 0 to 1.

    Returns
    -------
    float32 array, shape (frames,)
    """
    step = hz / sample_rate_hz * _TABLE_FRAMES
    place = np.arange(frames) * step + phase * _TABLE_FRAMES
    tone: Tone = table[place.astype(np.int64) & (_TABLE_FRAMES - 1)]
    return tone


def read_bent(table: Tone, cycles: Doubles) -> Tone:
    """Play a cycle along a course of phase.

    Parameters
    ----------
    table : float32 array
        As `cycle` gives it.
    cycles : float64 array, shape (n_frames,)
        Phase at each frame, counted in cycles.

    Returns
    -------
    float32 array, shape (n_frames,)
    """
    tone: Tone = table[(cycles * _TABLE_FRAMES).astype(np.int64) & (_TABLE_FRAMES - 1)]
    return tone


def seconds(frames: int, sample_rate_hz: int) -> Tone:
    """The time of each frame from 0: float32 array, shape (frames,)."""
    return np.arange(frames, dtype=np.float32) / np.float32(sample_rate_hz)


def decay(frames: int, sample_rate_hz: int, time_constant_s: float) -> Tone:
    """A level that falls from 1 to 1/e in `time_constant_s`: float32 array, shape (frames,)."""
    tone: Tone = np.exp(seconds(frames, sample_rate_hz) / np.float32(-time_constant_s))
    return tone


def fade_in(tone: Tone, sample_rate_hz: int, rise_s: float) -> Tone:
    """Raised-cosine start over `rise_s`.

    Parameters
    ----------
    tone : float32 array, shape (n_frames,)
        Changed in place.

    Returns
    -------
    float32 array
        The same array.
    """
    frames = min(len(tone), max(1, int(rise_s * sample_rate_hz)))
    tone[:frames] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(frames, dtype=np.float32) + 1) / frames)
    return tone


@lru_cache(maxsize=128)
def band_noise(frames: int, sample_rate_hz: int, low_hz: float, high_hz: float, seed: int) -> Tone:
    """Noise between two frequencies with soft edges, RMS 1.

    Returns
    -------
    float32 array, shape (frames,)
        Shared between calls: not to be written to.
    """
    noise = np.random.default_rng((seed, frames)).standard_normal(frames, np.float32)
    spectrum = np.fft.rfft(noise)
    hz = np.fft.rfftfreq(frames, 1 / sample_rate_hz) + 1e-3
    spectrum *= 1 / np.sqrt((1 + (low_hz / hz) ** 6) * (1 + (hz / high_hz) ** 6))
    shaped = np.fft.irfft(spectrum, frames)
    made: Tone = (shaped / np.sqrt(np.mean(shaped**2) + 1e-20)).astype(np.float32)
    return made
