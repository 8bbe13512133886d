"""How close a found form comes to the true one: borders by precision, recall and F, labels pairwise, and corrections.

Borders are matched one to one (as in Turnbull et al., "A supervised approach for detecting boundaries in music", 2007);
pairwise F is that of Levy and Sandler, "Structural segmentation of musical audio by constrained clustering" (2008), by
bars.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Scores:
    precision: float
    recall: float

    @property
    def f(self) -> float:
        total = self.precision + self.recall
        return 2 * self.precision * self.recall / total if total else 0.0


def border_scores(found: Sequence[int], true: Sequence[int], *, within: int) -> Scores:
    """Of bar numbers; each found border may stand for one true one, at most `within` bars away."""
    hits = _matched(sorted(found), sorted(true), within)
    if not true:
        return Scores(1.0 if not found else 0.0, 1.0)
    return Scores(hits / len(found) if found else 0.0, hits / len(true))


def _matched(found: Sequence[int], true: Sequence[int], within: int) -> int:
    """Both in order: taking the first that fits makes the most pairs."""
    hits, at = 0, 0
    for border in true:
        while at < len(found) and found[at] < border - within:
            at += 1
        if at < len(found) and found[at] <= border + within:
            hits, at = hits + 1, at + 1
    return hits


def pairwise_f(found: Sequence[str], true: Sequence[str]) -> float:
    """Of all pairs of bars: whether both lie in sections of one label. Bars that one side lacks are left out."""
    bars = min(len(found), len(true))
    upper = np.triu_indices(bars, 1)
    one, two = (_same(labels[:bars])[upper] for labels in (found, true))
    both = float((one & two).sum())
    return Scores(both / max(float(one.sum()), 1.0), both / max(float(two.sum()), 1.0)).f


def _same(labels: Sequence[str]) -> np.ndarray:
    codes = np.array([sorted(set(labels)).index(label) for label in labels])
    return np.asarray(codes[:, None] == codes[None, :])


def corrections(found: Sequence[int], true: Sequence[int]) -> int:
    """How many borders a person moves, adds or takes away; a move by a few bars is one correction."""
    wrong, missed = set(found) - set(true), set(true) - set(found)
    moved = _matched(sorted(wrong), sorted(missed), 3)
    return len(wrong) + len(missed) - moved
