"""Which sections are alike: each two are laid side by side, bar by bar, in any of the twelve keys."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from analysis.core.samples import Doubles
from analysis.form.likeness import KEYS, Likeness

# Of two sections of unlike length, the shorter is laid at the start and at the end of the longer.
_LAID = ("harmony", "harmony in one key", "rhythm", "level", "weakest bar")
NUMBERS = (*_LAID, *(f"{name}, beyond the usual" for name in _LAID), "share of length", "shifted harmony")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
# From these log odds on two sections share a letter: a wrongly shared letter is as easily mended as a wrongly new one,
# and sections that come again are varied (house choice, measured on the songs that the weights are fitted on).
ALIKE = -1.0


def pair_numbers(alike: Likeness, one: range, two: range) -> Doubles:
    """How alike two sections are, in the order of `NUMBERS`.

    Parameters
    ----------
    alike : Likeness
    one, two : range
        Bars from 0.

    Returns
    -------
    float64 array, shape (len(NUMBERS),)
    """
    shorter, longer = sorted((one, two), key=len)
    ends = {0, len(longer) - len(shorter)}
    best = max((_laid(alike, shorter, longer[shift : shift + len(shorter)]) for shift in sorted(ends)), key=_total)
    moved = _laid(alike, shorter, [longer[(step + 1) % len(longer)] for step in range(len(shorter))])
    harmony, one_key, rhythm, level = alike.usual
    beyond = np.array(best) - (harmony, one_key, rhythm, level, harmony)
    return np.array([*best, *beyond, len(shorter) / len(longer), best[0] - moved[0]])


def _total(numbers: tuple[float, ...]) -> float:
    return numbers[0] + numbers[2] + numbers[3]


def _laid(alike: Likeness, one: Sequence[int], two: Sequence[int]) -> tuple[float, ...]:
    """Mean harmony in the best key and in the same one, rhythm, level, and harmony of the worst quarter of bars."""
    by_key = np.stack([alike.harmony[key][list(one), list(two)] for key in range(KEYS)])
    key = int(by_key.mean(axis=1).argmax())
    return (
        float(by_key[key].mean()),
        float(by_key[0].mean()),
        float(alike.rhythm[list(one), list(two)].mean()),
        float(alike.level[list(one), list(two)].mean()),
        float(np.percentile(by_key[key], 25)),
    )


def group_alike(log_odds: Doubles, *, least: float = ALIKE) -> list[int]:
    """Put sections into groups, the likest first, as long as two groups are alike in the mean.

    Parameters
    ----------
    log_odds : float64 array, shape (n_sections, n_sections)
        That two sections are alike.
    least : float

    Returns
    -------
    list of int
        The group of each section; groups are numbered as they first appear.
    """
    groups = [[section] for section in range(len(log_odds))]
    while len(groups) > 1:
        pairs = list(combinations(range(len(groups)), 2))
        means = [float(log_odds[np.ix_(groups[one], groups[two])].mean()) for one, two in pairs]
        if max(means) < least:
            break
        one, two = pairs[int(np.argmax(means))]
        groups[one] += groups.pop(two)
    by_section = {section: group[0] for group in map(sorted, groups) for section in group}
    firsts = sorted(set(by_section.values()))
    return [firsts.index(by_section[section]) for section in range(len(log_odds))]


def letter(index: int) -> str:
    """A to Z, then AA, AB and on."""
    return (letter(index // len(LETTERS) - 1) if index >= len(LETTERS) else "") + LETTERS[index % len(LETTERS)]
