"""The song's own clock: how beat time runs against the files' time when the tempo moves.

A clock maps the files' seconds to even seconds, in which the song has one tempo, and back. Everything that finds bars
in steady music then works on music that moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.core.samples import Doubles


@dataclass(frozen=True)
class Clock:
    """Piecewise linear and rising: `real_s` in the files, `even_s` on the song's clock; straight on beyond the ends.

    Both arrays have the same shape (n_knots,), n_knots at least 2, in seconds.
    """

    real_s: Doubles
    even_s: Doubles

    def to_even(self, times_s: Doubles) -> Doubles:
        """The song's own time at each moment of the files.

        Parameters
        ----------
        times_s : float array, any shape
            Seconds in the files.

        Returns
        -------
        float64 array, the same shape
            Seconds on the song's clock.
        """
        return _through(self.real_s, self.even_s, np.asarray(times_s, dtype=np.float64))

    def to_real(self, times_s: Doubles) -> Doubles:
        """The files' time at each moment of the song's clock: the inverse of `to_even`.

        Parameters
        ----------
        times_s : float array, any shape
            Seconds on the song's clock.

        Returns
        -------
        float64 array, the same shape
            Seconds in the files.
        """
        return _through(self.even_s, self.real_s, np.asarray(times_s, dtype=np.float64))

    @classmethod
    def from_phase(cls, real_s: Doubles, phase: Doubles) -> Clock:
        """A clock from the number of pulses counted at each time; the song keeps its length.

        Parameters
        ----------
        real_s : float64 array, shape (n_knots,)
            Seconds in the files, rising; at least two.
        phase : float64 array, shape (n_knots,)
            Pulses counted up to each of them. Where it falls back it is held level.
        """
        rising = np.maximum.accumulate(phase + np.arange(len(phase)) * 1e-9)
        seconds = (real_s[-1] - real_s[0]) / (rising[-1] - rising[0])
        return cls(real_s, real_s[0] + (rising - rising[0]) * seconds)


def _through(x: Doubles, y: Doubles, at: Doubles) -> Doubles:
    found: Doubles = np.interp(at, x, y)
    first = (y[1] - y[0]) / (x[1] - x[0])
    last = (y[-1] - y[-2]) / (x[-1] - x[-2])
    found = np.where(at < x[0], y[0] + (at - x[0]) * first, found)
    return np.where(at > x[-1], y[-1] + (at - x[-1]) * last, found)
