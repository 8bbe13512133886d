"""One decision over the whole song: which bar lines begin sections, from their evidence and from usual lengths."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles

# House choices. How much less likely a length is than eight bars, as log odds: gentle, because five, seven and nine
# bars occur; a section of one bar hardly does.
_LENGTHS = {1: -12.0, 2: -1.6, 3: -1.5, 4: -0.5, 6: -0.8, 8: 0.0, 10: -0.9, 12: -0.6, 16: -0.5}
_OTHER_LENGTH, _LONG_BARS, _PER_LONG_BAR = -1.1, 16, -0.08
_LENGTH_WEIGHT = 0.5
# A missed border costs a person as much as a false one, but evidence of borders is spread thin: this is added to it.
BORDER_BONUS = 1.2
_MOST_BARS = 48


def length_log_odds(bars: int) -> float:
    """How likely a section of so many bars is, re one of eight."""
    beyond = max(0, bars - _LONG_BARS) * _PER_LONG_BAR
    return _LENGTH_WEIGHT * (_LENGTHS.get(bars, _OTHER_LENGTH) + beyond)


def divide(log_odds: Doubles) -> list[range]:
    """The sections that make lines and lengths likeliest together.

    Parameters
    ----------
    log_odds : float64 array, shape (n_bars - 1,)
        That a section begins at each bar line but the first.

    Returns
    -------
    list of range
        Bars from 0, without gaps.
    """
    bars = len(log_odds) + 1
    begins = np.concatenate([[0.0], log_odds + BORDER_BONUS])
    lengths = [length_log_odds(count) for count in range(min(bars, _MOST_BARS) + 1)]
    best, cut = np.zeros(bars + 1), np.zeros(bars + 1, np.intp)
    for end in range(1, bars + 1):
        first = max(0, end - _MOST_BARS)
        scores = [best[start] + begins[start] + lengths[end - start] for start in range(first, end)]
        cut[end] = first + int(np.argmax(scores))
        best[end] = max(scores)
    return _sections_back_from(bars, cut)


def division_log_odds(log_odds: Doubles, sections: list[range]) -> float:
    """What `divide` made the most of: the log odds of these sections' lines and lengths together."""
    lines = sum(float(log_odds[section.start - 1]) + BORDER_BONUS for section in sections[1:])
    return lines + sum(length_log_odds(len(section)) for section in sections)


def _sections_back_from(end: int, cut: np.ndarray) -> list[range]:
    found: list[range] = []
    while end > 0:
        found.append(range(int(cut[end]), end))
        end = int(cut[end])
    return found[::-1]
