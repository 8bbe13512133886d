"""The small arrays that musical questions are answered from, gathered in one pass over a file's blocks.

Four pictures of the sound are kept, each at its own pace: band-wise energy and onset strength (10 ms), fine onsets from
the rise of the energy in time (1 ms steps, no transform in between, so nothing smears their place), harmony as
pitch-class energy of the bass and of the middle (50 ms), and sharp onsets placed to the sample for clicks. A longer
file than `MAX_MUSIC_S` is measured up to there, which also bounds the memory.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

import numpy as np

from analysis.core.framing import Decimator, lowering_factor
from analysis.core.samples import Floats, Samples
from analysis.features.bands import BAND_COUNT, BandAccumulator
from analysis.features.harmony import HarmonyAccumulator
from analysis.features.onsets import EnergyAccumulator, FineOnsets, SharpOnsets

# House choices.
MAX_MUSIC_S = 1200.0
# Below this share of the channels' mean energy their average has cancelled: an inverted channel. Use one side then.
_CANCELLED = 0.1
_WILDEST = 1e3  # amplitude that damage is held at


def _empty(columns: int) -> Floats:
    return np.zeros((0, columns), np.float32)


@dataclass(frozen=True)
class Features:
    """What one file sounds like over time. Arrays are float32; times are float64 and count from the file's start."""

    sample_rate_hz: int
    frames: int
    band_rate_hz: float
    harmony_rate_hz: float
    energy_rate_hz: float
    onset_strength: Floats = field(default_factory=lambda: _empty(BAND_COUNT))  # (n, bands)
    band_energy_db: Floats = field(default_factory=lambda: _empty(BAND_COUNT))  # (n, bands), dB re full scale
    fine: FineOnsets = field(default_factory=FineOnsets)
    sharp: SharpOnsets = field(default_factory=SharpOnsets)
    energy_1ms: Floats = field(default_factory=lambda: np.zeros(0, np.float32))  # (n,), mean square of the full band
    bass_chroma: Floats = field(default_factory=lambda: _empty(12))  # (m, 12), C first
    chroma: Floats = field(default_factory=lambda: _empty(12))
    pyramid: Floats = field(default_factory=lambda: _empty(2))  # (p, 2), lowest and highest sample, for the picture

    @property
    def duration_s(self) -> float:
        return self.frames / self.sample_rate_hz

    @classmethod
    def empty(cls) -> Self:
        """What a file without sound has to tell."""
        return cls(48_000, 0, 100.0, 20.0, 1000.0)

    def save(self, path: Path) -> None:
        """Write a .npz without pickled objects."""
        arrays: dict[str, Any] = {}
        for item in dataclasses.fields(self):
            value = getattr(self, item.name)
            arrays |= value.arrays(item.name) if isinstance(value, (FineOnsets, SharpOnsets)) else {item.name: value}
        with path.open("wb") as file:
            np.savez(file, **arrays)

    @classmethod
    def load(cls, path: Path) -> Self:
        with np.load(path, allow_pickle=False) as stored:
            values: dict[str, Any] = {name: stored[name] for name in stored.files if "." not in name}
            fine = {name.partition(".")[2]: stored[name] for name in stored.files if name.startswith("fine.")}
            sharp = {name.partition(".")[2]: stored[name] for name in stored.files if name.startswith("sharp.")}
        scalars = {name: value.item() for name, value in values.items() if value.ndim == 0}
        return cls(**(values | scalars), fine=FineOnsets(**fine), sharp=SharpOnsets(**sharp))


class MusicFeatures:
    """Feed blocks in order with `add`, then take the `Features` with `finish`."""

    def __init__(self, sample_rate_hz: int, channels: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.channels = channels
        self.frames = 0
        self._room = int(MAX_MUSIC_S * sample_rate_hz)
        self._decimator = Decimator(lowering_factor(sample_rate_hz))
        self._bands = BandAccumulator(sample_rate_hz)
        self._energy = EnergyAccumulator(sample_rate_hz)
        self._harmony = HarmonyAccumulator(sample_rate_hz)

    def add(self, block: Samples) -> None:
        """Take the next frames.

        Parameters
        ----------
        block : float array, shape (n_frames, n_channels)
            Full scale is 1.0. Not modified.
        """
        measured = block[: max(0, self._room - self.frames)]
        self.frames += len(block)
        if not len(measured):
            return
        mono = mix_down(measured)
        lowered = self._decimator.lower(mono)
        self._bands.add(mono)
        self._energy.add(mono, lowered)
        self._harmony.add(lowered)

    def finish(self) -> Features:
        strength, energy_db = self._bands.finish()
        last = self._decimator.last()
        energy, fine, sharp = self._energy.finish(last)
        bass, chroma = self._harmony.finish(last)
        return Features(
            sample_rate_hz=self.sample_rate_hz,
            frames=self.frames,
            band_rate_hz=self._bands.rate_hz,
            harmony_rate_hz=self._harmony.rate_hz,
            energy_rate_hz=self._energy.rate_hz,
            onset_strength=strength,
            band_energy_db=energy_db,
            fine=fine,
            sharp=sharp,
            energy_1ms=energy,
            bass_chroma=bass,
            chroma=chroma,
        )


def mix_down(block: Samples) -> Floats:
    """Average the channels; where they cancel, take the first alone.

    Parameters
    ----------
    block : float array, shape (n_frames, n_channels)
        Full scale is 1.0. Not modified. NaN counts as silence, infinity as 1000.

    Returns
    -------
    float32 array, shape (n_frames,)
    """
    samples = np.asarray(block, np.float32)
    if samples.shape[1] == 1:
        mono = samples[:, 0]
    elif samples.shape[1] == 2:
        mono = (samples[:, 0] + samples[:, 1]) * np.float32(0.5)
    else:
        mono = samples.mean(axis=1)
    power = float(np.dot(mono, mono))
    if not np.isfinite(power):
        return mix_down(np.nan_to_num(np.clip(samples, -_WILDEST, _WILDEST), nan=0.0))
    if samples.shape[1] > 1:
        first = samples[:, 0]
        if power < _CANCELLED * float(np.dot(first, first)) / samples.shape[1]:
            mono = first
    return np.ascontiguousarray(mono)
