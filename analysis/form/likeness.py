"""How alike any two bars of a song are: in harmony (in any of the twelve keys), in rhythm and in level.

Tested with the rows that it compares: tests/analysis/form/test_bar_rows.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.core.samples import Doubles, Floats
from analysis.form.bar_rows import BarRows

KEYS = 12
# Bars are hardly apart when their difference has this share of the mean bar's power (house choice).
_HARDLY = 0.03
# More than this is not usual in songs of several sections (house choices).
_MOST_USUAL = (0.75, 0.6, 0.6, 0.5)
_LEVEL_SCALE_DB = 5.0  # bars that differ by this in their bands are about half alike (house choice)


@dataclass(frozen=True)
class Likeness:
    """Shares from 0 (unlike) to 1 (the same).

    Attributes
    ----------
    harmony : float32 array, shape (12, n_bars, n_bars)
        Of the row's bar and the column's, lowered by so many semitones.
    rhythm, level : float32 arrays, shape (n_bars, n_bars)
    """

    harmony: Floats
    rhythm: Floats
    level: Floats

    @property
    def bars(self) -> int:
        return len(self.rhythm)

    @cached_property
    def usual(self) -> tuple[float, float, float, float]:
        """What any two bars have in common: harmony in the best key and in the same one, rhythm, level.

        Dense music is alike throughout, thin music hardly at all; so is a song of one section, so there is a limit.
        """
        matrices = (self.harmony.max(axis=0), self.harmony[0], self.rhythm, self.level)
        medians = [float(np.median(matrix)) for matrix in matrices]
        return tuple(min(pair) for pair in zip(medians, _MOST_USUAL, strict=True))  # type: ignore[return-value]


def likeness(rows: BarRows) -> Likeness:
    n = rows.bars
    level = rows.level_db.reshape(n, -1)
    apart = np.stack([np.abs(one - level).mean(axis=1) for one in level])
    return Likeness(
        harmony=np.stack([_harmony(rows, key) for key in range(KEYS)]),
        rhythm=_rhythm(rows.strokes.reshape(n, -1)),
        level=np.exp(-apart / _LEVEL_SCALE_DB).astype(np.float32),
    )


def _rhythm(strokes: Doubles) -> Floats:
    """Like a cosine of what sets each bar apart from the song's mean bar; bars that hardly differ from it are alike."""
    mean = strokes.mean(axis=0)
    own = strokes - mean
    power = (own**2).sum(axis=1)
    same = _HARDLY * float(mean @ mean) + 1e-9
    share = (2 * own @ own.T + same) / (power[:, None] + power[None, :] + same)
    rhythm: Floats = (0.5 + share / 2).astype(np.float32)
    return rhythm


def _harmony(rows: BarRows, key: int) -> Floats:
    """Pitch classes of the columns' bars are rolled down by `key`, so that a chorus a tone higher fits at 2."""
    own = np.concatenate([rows.harmony, rows.bass], axis=2).reshape(rows.bars, -1)
    moved = np.concatenate([np.roll(rows.harmony, -key, axis=2), np.roll(rows.bass, -key, axis=2)], axis=2)
    return np.maximum(_cosine(own, moved.reshape(rows.bars, -1)), np.float32(0))


def _cosine(one: Doubles, two: Doubles) -> Floats:
    lengths = np.linalg.norm(one, axis=1)[:, None] * np.linalg.norm(two, axis=1)[None, :]
    cosine: Floats = (one @ two.T / np.maximum(lengths, 1e-9)).astype(np.float32)
    return cosine
