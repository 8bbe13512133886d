"""How loud each section is beside the song's others, in the words of scores: pp to ff."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.core.samples import Doubles

STEPS = ("pp", "p", "mp", "mf", "f", "ff")
# House choices: a step of a score's dynamics is about so many decibels; a song that hardly changes is all mf, and the
# loudest section is f, or ff where the song's sections are this far apart.
_STEP_DB = 3.0
_EVEN_DB, _WIDE_DB = 3.0, 9.0


def dynamics_of(loudness_db: Doubles, sections: Sequence[range]) -> list[str]:
    """A dynamic for each section.

    Parameters
    ----------
    loudness_db : float64 array, shape (n_bars,)
        Of each bar.
    sections : sequence of range
        Bars from 0.

    Returns
    -------
    list of str
    """
    if not sections:
        return []
    level = [10 * float(np.log10(np.mean(10 ** (loudness_db[list(section)] / 10)) + 1e-12)) for section in sections]
    loudest, spread = max(level), max(level) - min(level)
    if spread < _EVEN_DB:
        return ["mf"] * len(level)
    top = STEPS.index("ff" if spread >= _WIDE_DB else "f")
    return [STEPS[max(0, top - round((loudest - one) / _STEP_DB))] for one in level]
