"""Harmony over time: how strong each of the twelve pitch classes is, in the bass and in the middle, every 50 ms."""

from __future__ import annotations

import numpy as np

from analysis.core.framing import Framer, Growing, lowering_factor
from analysis.core.samples import Doubles, Floats

# All numbers here are house choices, but the pitch.
FRAMES_PER_SECOND = 20
_WINDOW_S = 0.34
_BASS_HZ = (38.0, 240.0)
_MIDDLE_HZ = (200.0, 2200.0)
_C0_HZ = 16.3516  # arithmetic: 57 semitones below A4 at 440 Hz (ISO 16)
_COMPRESSION = np.float32(200.0)  # magnitudes from -46 dB re full scale on count by their logarithm
_SPREAD_SEMITONES = 0.5  # how far off a bin still counts for a pitch class (standard deviation)


def _pitch_class_bank(size: int, rate_hz: float, low_hz: float, high_hz: float) -> Floats:
    """Spectrum bins to pitch classes, shape (bins, 12); each bin counts for the classes it lies near."""
    bins_hz = np.maximum(np.arange(size // 2 + 1) * rate_hz / size, 1e-3)
    pitch = 12 * np.log2(bins_hz / _C0_HZ)
    apart = np.abs((pitch[:, None] - np.arange(12) + 6) % 12 - 6)
    near: Doubles = np.exp(-0.5 * (apart / _SPREAD_SEMITONES) ** 2)
    near[(bins_hz < low_hz) | (bins_hz > high_hz)] = 0
    return near.astype(np.float32)


class HarmonyAccumulator:
    """Pitch classes of a mono stream at the lowered rate; `rate_hz` is how many frames there are a second."""

    def __init__(self, sample_rate_hz: int) -> None:
        rate_hz = sample_rate_hz / lowering_factor(sample_rate_hz)
        hop = max(1, round(rate_hz / FRAMES_PER_SECOND))
        size = 2 ** max(4, round(np.log2(_WINDOW_S * rate_hz)))
        self.rate_hz = rate_hz / hop
        self._framer = Framer(size, hop)
        self._window = np.hanning(size + 1)[:-1].astype(np.float32) * np.float32(2 / size)
        banks = [_pitch_class_bank(size, rate_hz, *limits) for limits in (_BASS_HZ, _MIDDLE_HZ)]
        bank = np.concatenate(banks, axis=1)
        used = np.flatnonzero(bank.any(axis=1))
        self._bins = slice(int(used[0]), int(used[-1]) + 1) if len(used) else slice(0, 0)
        self._bank = bank[self._bins]
        self._classes = Growing(24)

    def add(self, lowered: Floats) -> None:
        """Take the next samples.

        Parameters
        ----------
        lowered : float32 array, shape (n,)
            The sound at its rate over `lowering_factor`, full scale 1.0.
        """
        self._take(self._framer.frames(lowered))

    def finish(self, last: Floats) -> tuple[Floats, Floats]:
        """The whole stream's frames.

        Parameters
        ----------
        last : float32 array, shape (n,)
            The last samples, as for `add`.

        Returns
        -------
        bass, middle : float32 array, shape (n_frames, 12)
            How strong each pitch class is, C first.
        """
        self._take(self._framer.frames(last))
        self._take(self._framer.last())
        classes = self._classes.array()
        return classes[:, :12], classes[:, 12:]

    def _take(self, frames: Floats) -> None:
        from scipy import fft

        if len(frames):
            magnitude = np.abs(fft.rfft(frames * self._window)[:, self._bins])
            self._classes.add(np.log1p(_COMPRESSION * magnitude) @ self._bank)
