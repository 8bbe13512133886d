"""How far the values of a fixed-point file lie apart: a file made from fewer bits and then turned up or down.

Turned down by a steady gain, 16-bit values no longer end in zeros, but they still lie some 200 steps of 24 bits apart
(arithmetic: 2^8 times the gain). Dither after the change of gain hides it.
"""

from __future__ import annotations

import numpy as np

from analysis.core.blocks import Block

# Looked at: up to a quarter of full scale, in steps of 24 bits (house choices, as are those below).
_REACH = 2**21
_STORED_BITS = 24
# With fewer different values nothing can be said; the nearest of them, but for a few, show the step.
_FEWEST_VALUES, _NEAREST = 1_000, 0.05


class StepMeter:
    """Looks at the first channel of files in 24 bits; others tell nothing here."""

    def __init__(self, bit_depth: int | None, *, is_float: bool) -> None:
        self._seen = np.zeros(2 * _REACH, bool) if bit_depth == _STORED_BITS and not is_float else None

    def add(self, block: Block) -> None:
        """Take the next block of the file."""
        if self._seen is not None:
            words = np.rint(block.exact[:, 0] * float(2 ** (_STORED_BITS - 1))).astype(np.int32) + _REACH
            self._seen[words[(words >= 0) & (words < 2 * _REACH)]] = True

    def finish(self) -> float | None:
        """Bits that the distance of the values amounts to; None where nobody can tell."""
        values = np.flatnonzero(self._seen) if self._seen is not None else np.zeros(0)
        if len(values) < _FEWEST_VALUES:
            return None
        return _STORED_BITS - float(np.log2(np.quantile(np.diff(values), _NEAREST)))
