"""Published ways to find borders, given the true bars and the same measured rows of each bar as the draft.

librosa's agglomerative segmentation (McFee and Ellis, "Learning to segment songs with ordinal linear discriminant
analysis", 2014, uses it so) cuts into a number of sections that must be given: one for so many bars. Checkerboard
novelty is Foote's, "Automatic audio segmentation using a measure of audio novelty" (2000), with a Gaussian taper. The
settings of both are those that do best on the songs of `FITTED`.
"""

from __future__ import annotations

import librosa
import numpy as np

from analysis.core.samples import Doubles
from analysis.form.bar_rows import BarRows

# Found on the songs of `FITTED` by `python -m bench.form.compare`.
BARS_A_SECTION = 7.0
HALF_KERNEL_BARS, PEAK_SPREADS = 8, 0.0


def plain_rows(rows: BarRows) -> Doubles:
    """Mean harmony and level of each bar, every column in spreads: (n_bars, 18)."""
    both = np.concatenate([rows.harmony.mean(axis=1), rows.level_db.mean(axis=1)], axis=1)
    spreads: Doubles = (both - both.mean(axis=0)) / np.maximum(both.std(axis=0), 1e-9)
    return spreads


def agglomerative(rows: BarRows, *, sections: int) -> list[int]:
    """First bars of all sections but the first, from 0."""
    starts = librosa.segment.agglomerative(plain_rows(rows).T, max(1, min(sections, rows.bars)))
    return [int(start) for start in starts if start > 0]


def checkerboard(rows: BarRows, *, half: int = HALF_KERNEL_BARS, least: float = PEAK_SPREADS) -> list[int]:
    """Peaks of the novelty that stand above its mean by so many spreads."""
    plain = plain_rows(rows)
    lengths = np.linalg.norm(plain, axis=1)
    alike = plain @ plain.T / np.maximum(lengths[:, None] * lengths[None, :], 1e-9)
    padded = np.pad(alike, half)
    steps = np.arange(-half, half) + 0.5
    taper = np.exp(-0.5 * (steps / (half / 2)) ** 2) * np.sign(steps)
    kernel = taper[:, None] * taper[None, :]
    novelty = np.array(
        [float((padded[b : b + 2 * half, b : b + 2 * half] * kernel).sum()) for b in range(rows.bars + 1)]
    )
    floor = float(novelty[1:-1].mean() + least * novelty[1:-1].std())
    inner = range(1, rows.bars)
    return [b for b in inner if novelty[b] > floor and novelty[b] >= novelty[b - 1] and novelty[b] > novelty[b + 1]]
