"""Hum: lines at 50 or 60 Hz and their multiples that never pause.

A drum's tones die away, the mains do not: in the quietest tenth of the file the lines still stand over what lies beside
them. One line alone may be a drum's; three are the mains (house choices).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from analysis.core.blocks import Block
from analysis.core.samples import Doubles

_MAINS_HZ = (50.0, 60.0)
_ORDERS, _FEWEST_LINES = range(1, 7), 3
_PIECE_S = 0.34
_QUIET_SHARE = 0.1
_HIGHEST_HZ = 400.0
# A line is looked for this near its place, and beside it from here to there.
_NEAR_HZ, _BESIDE_HZ = 2.5, (11.0, 23.0)
# It must stand so far over what lies beside it, and be as loud as -80 dBFS.
_OVER, _QUIETEST = 4.0, 1e-4


@dataclass(frozen=True)
class Hum:
    """`level` is the amplitude of all lines together."""

    mains_hz: float
    level: float


class HumMeter:
    """Looks at the first channel, piece by piece."""

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate = sample_rate_hz
        self._frames = fft.next_fast_len(round(_PIECE_S * sample_rate_hz), real=True)
        self._window = np.hanning(self._frames).astype(np.float32)
        self._held = np.zeros(0, np.float32)
        self._rows: list[Doubles] = []

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        joined = np.concatenate([self._held, block.by_channel[0]])
        count = len(joined) // self._frames
        kept = round(_HIGHEST_HZ * self._frames / self._rate)
        for piece in joined[: count * self._frames].reshape(count, self._frames):
            if piece.any():
                spectrum = np.abs(fft.rfft(piece * self._window)[:kept])
                self._rows.append(np.asarray(spectrum * 2 / self._window.sum(), np.float64))
        self._held = joined[count * self._frames :].copy()

    def finish(self) -> Hum | None:
        if len(self._rows) < 1 / _QUIET_SHARE:
            return None
        quiet = np.quantile(np.array(self._rows), _QUIET_SHARE, axis=0)
        found = [hum for mains_hz in _MAINS_HZ if (hum := self._hum(quiet, mains_hz))]
        return max(found, key=lambda hum: hum.level, default=None)

    def _hum(self, quiet: Doubles, mains_hz: float) -> Hum | None:
        hz = np.arange(len(quiet)) * self._rate / self._frames
        lines = []
        for order in _ORDERS:
            away = np.abs(hz - order * mains_hz)
            line = float(quiet[away <= _NEAR_HZ].max(initial=0.0))
            beside = float(np.median(quiet[(away >= _BESIDE_HZ[0]) & (away <= _BESIDE_HZ[1])]))
            if line > max(_QUIETEST, _OVER * beside):
                lines.append(line)
        return Hum(mains_hz, float(np.sqrt(np.sum(np.square(lines))))) if len(lines) >= _FEWEST_LINES else None
