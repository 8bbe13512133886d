"""The song's own clock: how beat time runs against the files' time when the tempo moves.

A clock maps the files' seconds to even seconds, in which the song has one tempo, and back. Everything that finds bars
in steady music then works on music that moves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Clock:
    """Piecewise linear and rising: `real_s` in the files, `even_s` on the song's clock; straight on beyond the ends."""

    real_s: NDArray[Any]
    even_s: NDArray[Any]

    def to_even(self, times_s: NDArray[Any]) -> NDArray[Any]:
        return _through(self.real_s, self.even_s, np.asarray(times_s, dtype=np.float64))

    def to_real(self, times_s: NDArray[Any]) -> NDArray[Any]:
        return _through(self.even_s, self.real_s, np.asarray(times_s, dtype=np.float64))

    @classmethod
    def from_phase(cls, real_s: NDArray[Any], phase: NDArray[Any]) -> Clock:
        """From the number of pulses counted at each time; the song keeps its length."""
        rising = np.maximum.accumulate(phase + np.arange(len(phase)) * 1e-9)
        seconds = (real_s[-1] - real_s[0]) / (rising[-1] - rising[0])
        return cls(real_s, real_s[0] + (rising - rising[0]) * seconds)


def _through(x: NDArray[Any], y: NDArray[Any], at: NDArray[Any]) -> NDArray[Any]:
    found: NDArray[Any] = np.interp(at, x, y)
    first = (y[1] - y[0]) / (x[1] - x[0])
    last = (y[-1] - y[-2]) / (x[-1] - x[-2])
    found = np.where(at < x[0], y[0] + (at - x[0]) * first, found)
    return np.where(at > x[-1], y[-1] + (at - x[-1]) * last, found)
