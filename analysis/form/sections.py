"""The form: where the song's sections begin, by bars, and which of them are alike.

Phrases of four bars are compared in harmony, bass and loudness. A section begins where a phrase differs from the one
before by more than bars differ within phrases; sections that differ less share a letter. A proposal for the chart.
"""

from __future__ import annotations

import numpy as np

from analysis.core.reports import Section
from analysis.core.samples import Doubles
from analysis.tempo.evidence import Evidence

# Songs are written in phrases of four bars, mostly; two of them are the least that has a form (house choices).
_PHRASE_BARS = 4
_LEAST_BARS = 8
# Distance of two phrases in the usual scatter of bars inside a phrase: above the first a new section begins, below the
# second two sections are the same. Loudness weighs this much more than harmony and bass (house choices).
_DIFFERENT, _ALIKE = 1.0, 0.8
_ENERGY_WEIGHT = 1.5
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def find_sections(music: Evidence, downbeats_s: Doubles) -> tuple[Section, ...]:
    """Sections from bar one on.

    Parameters
    ----------
    music : Evidence
        On the clock of `downbeats_s`.
    downbeats_s : float64 array, shape (n_bars + 1,)
        Seconds: where each bar begins, and the end of the last.

    Returns
    -------
    tuple of Section
        Without gaps, in order of time. Empty for a song of less than two phrases.
    """
    bars = len(downbeats_s) - 1
    if bars < _LEAST_BARS:
        return ()
    rows = _bar_rows(music, np.asarray(downbeats_s, dtype=np.float64))
    starts = list(range(0, bars - _PHRASE_BARS // 2, _PHRASE_BARS))
    phrases = [rows[start : start + _PHRASE_BARS] for start in starts]
    scatter = float(np.mean([phrase.var(axis=0).sum() for phrase in phrases])) + 1e-9
    begins = [0] + [
        index for index in range(1, len(phrases)) if _distance(phrases[index - 1], phrases[index], scatter) > _DIFFERENT
    ]
    sections: list[Section] = []
    known: list[tuple[str, Doubles]] = []
    for index, begin in enumerate(begins):
        first = starts[begin]
        last = starts[begins[index + 1]] if index + 1 < len(begins) else bars
        letter = _letter(known, rows[first:last], scatter)
        if sections and sections[-1].label == letter:
            sections[-1] = Section(sections[-1].start_bar, last + 1 - sections[-1].start_bar, letter)
        else:
            sections.append(Section(first + 1, last - first, letter))
    return tuple(sections)


def _bar_rows(music: Evidence, downbeats_s: Doubles) -> Doubles:
    """One row a bar: middle harmony, bass and band loudness, each column with mean 0 over the song."""
    bass = _means(music.bass, music.harmony_s, downbeats_s)
    chroma = _means(music.chroma, music.harmony_s, downbeats_s)
    energy = _means(music.energy_db, music.frame_s, downbeats_s)
    parts = [_scaled(chroma), _scaled(bass), _ENERGY_WEIGHT * _scaled(energy)]
    return np.concatenate(parts, axis=1)


def _means(rows: Doubles, times_s: Doubles, downbeats_s: Doubles) -> Doubles:
    edges = np.searchsorted(times_s, downbeats_s)
    sums = np.concatenate([np.zeros((1, rows.shape[1])), np.cumsum(rows, axis=0)])
    low, high = edges[:-1], np.maximum(edges[1:], edges[:-1] + 1)
    high = np.minimum(high, len(rows))
    mean: Doubles = (sums[high] - sums[np.minimum(low, high)]) / np.maximum(high - low, 1)[:, None]
    return mean


def _scaled(rows: Doubles) -> Doubles:
    centred = rows - rows.mean(axis=0)
    scaled: Doubles = centred / (np.sqrt((centred**2).sum(axis=1)).mean() + 1e-9)
    return scaled


def _distance(one: Doubles, two: Doubles, scatter: float) -> float:
    apart = one.mean(axis=0) - two.mean(axis=0)
    return float(apart @ apart) / scatter


def _letter(known: list[tuple[str, Doubles]], rows: Doubles, scatter: float) -> str:
    nearest = min(known, key=lambda other: _distance(other[1], rows, scatter), default=None)
    if nearest and _distance(nearest[1], rows, scatter) < _ALIKE:
        return nearest[0]
    letter = _LETTERS[len(known) % len(_LETTERS)]
    known.append((letter, rows))
    return letter
