"""When a stroke begins: attacks placed by the jump of the energy itself, to the millisecond."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles, Indices
from analysis.features.feature_arrays import Features

# All numbers here are house choices.
# A stroke begins in the first millisecond that has come this share of the way from what rang before to its peak.
_STROKE_BEGINS = 0.15
# Where it is looked for around the attack, where its peak, and what rang before; and how much must rise to be clear.
_BEGINS_S, _PEAKS_S, _RANG_S = (-0.008, 0.012), (-0.004, 0.015), (-0.016, -0.007)
_LEAST_RISE = 1.5


def struck_at(features: Features, attacks_s: Doubles) -> Doubles:
    """When the strokes behind these attacks begin: the middle of the millisecond in which each one's energy jumps.

    Attacks are placed by an average over some milliseconds, which sets sharp sounds early; the energy itself does not.

    Parameters
    ----------
    features : Features
    attacks_s : float64 array, shape (n,)
        Seconds from the start of the file, as `attacks_of` places them.

    Returns
    -------
    float64 array, shape (n,)
        The attack itself where no clear jump is near it.
    """
    level = np.sqrt(features.energy_1ms.astype(np.float64))
    at = (attacks_s * features.energy_rate_hz).astype(np.intp)
    around, peaks, rang = (_window(level, at, features.energy_rate_hz, span) for span in (_BEGINS_S, _PEAKS_S, _RANG_S))
    base, peak = np.median(rang, axis=1)[:, None], peaks.max(axis=1)[:, None]
    over = around > base + _STROKE_BEGINS * (peak - base)
    first = at + round(_BEGINS_S[0] * features.energy_rate_hz) + over.argmax(axis=1)
    clear = over.any(axis=1) & (peak > _LEAST_RISE * base)[:, 0]
    return np.where(clear, (first + 0.5) / features.energy_rate_hz, attacks_s)


def _window(level: Doubles, at: Indices, rate_hz: float, span_s: tuple[float, float]) -> Doubles:
    """The levels around each place, one row each."""
    steps = np.arange(round(span_s[0] * rate_hz), round(span_s[1] * rate_hz))
    found: Doubles = level[np.clip(at[:, None] + steps, 0, len(level) - 1)]
    return found
