"""A small kit of known geometry: three drums of their own colour, and microphones at known distances."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from scipy import signal

from analysis.core.samples import Doubles, Samples
from tests.analysis.encoded import write_sound

RATE_HZ, FRAMES = 48_000, 6 * 48_000
# How much later than at the drum itself, in frames, and how loud: kick, snare, hat.
_PATHS = {
    "KickIn": ((10, 1.0), (110, 0.05), (160, 0.02)),
    "SnTop": ((90, 0.05), (12, 1.0), (80, 0.1)),
    "Hat": ((150, 0.03), (85, 0.1), (20, 0.5)),
    "Tom1": ((70, 0.05), (75, 0.1), (110, 0.02)),
    "OHL": ((200, 0.2), (140, 0.4), (100, 0.3)),
    "OHR": ((195, 0.2), (170, 0.35), (190, 0.2)),
    "RmL": ((500, 0.15), (480, 0.2), (470, 0.1)),
    "RmR": ((505, 0.15), (530, 0.2), (540, 0.1)),
}
# Skins are dull.
_DULL = ("KickIn", "Tom1")


def _drum(seed: int, every: int, first: int, ring: float, band_hz: tuple[float, float]) -> Doubles:
    rng = np.random.default_rng(seed)
    out = np.zeros(FRAMES)
    for start in range(first, FRAMES - RATE_HZ, every):
        length = round(6 * ring)
        out[start : start + length] += rng.standard_normal(length) * np.exp(-np.arange(length) / ring)
    sos = signal.butter(2, band_hz, "band", fs=RATE_HZ, output="sos")
    found = np.asarray(signal.sosfilt(sos, out))
    return np.asarray(found / np.abs(found).max())


def kit() -> dict[str, Samples]:
    """Tracks by name, float64 of shape (n_frames, 1). The last second only rings out, over hiss at -90 dBFS."""
    return dict(_kit())


@cache
def _kit() -> dict[str, Samples]:
    drums = (
        _drum(1, 48_000, 5_000, 2_000.0, (40, 100)) + 0.4 * _drum(4, 48_000, 5_000, 300.0, (1_000, 4_000)),
        _drum(2, 48_000, 29_000, 2_500.0, (150, 12_000)),
        _drum(3, 12_000, 5_500, 900.0, (7_000, 18_000)),
    )
    tracks = {}
    for number, (name, paths) in enumerate(_PATHS.items()):
        track = sum(gain * np.roll(drum, late) for drum, (late, gain) in zip(drums, paths, strict=True))
        if name in _DULL:
            track = signal.lfilter(*signal.butter(1, 3_000, fs=RATE_HZ), track)
        hiss = np.random.default_rng([9, number]).standard_normal(FRAMES) * 3e-5
        tracks[name] = (0.5 * track / np.abs(track).max() + hiss)[:, None]
    return tracks


def mix_of(tracks: dict[str, Samples]) -> Samples:
    gains = np.linspace(0.2, 0.6, len(tracks))
    return np.asarray(sum(gain * track for gain, track in zip(gains, tracks.values(), strict=True))) * 0.4


def late(samples: Samples, frames: int) -> Samples:
    return np.roll(samples, frames, axis=0)


def write_kit(folder: Path, tracks: dict[str, Samples]) -> list[Path]:
    folder.mkdir(exist_ok=True)
    return [write_sound(folder / f"{name}.wav", samples, RATE_HZ) for name, samples in sorted(tracks.items())]
