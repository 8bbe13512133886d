"""Evidence that a section begins at a bar line, of several kinds, as one row of numbers a line.

Novelty: the bars after the line are alike, those before it too, but not each to the other (over 2, 4 and 8 bars; the
kernel is that of Foote, "Automatic audio segmentation using a measure of audio novelty", 2000). Going on: what follows
is what a loop of some bars before it would have brought. Diagonals: from the line on, or up to it, bars are those of
another place of the song, in any key. And what bands do at borders: players come and go, the bar before is unlike its
neighbours (a fill, a figure) or ends in a rest, a cymbal is struck.
"""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles, Floats
from analysis.form.bar_rows import BarRows
from analysis.form.likeness import KEYS, Likeness

# House choices: bars on each side of a line, the longest loop, the least distance of a repeat and the bars compared.
_SPANS = (2, 4, 8)
_LONGEST_LOOP = 8
_LOOP_BARS = 4
_LEAST_LAG = 3
_REPEAT_SPANS = (2, 4)
_MOST_SPREADS = 4.0

_KINDS = ("harmony", "rhythm", "level")
_PLAIN = (
    *(f"novelty {kind} {span}" for kind in _KINDS for span in _SPANS),
    *(f"not going on {kind}" for kind in _KINDS),
    *(f"{what} of a repeat {span}" for what in ("start", "end") for span in _REPEAT_SPANS),
    "players change",
    "bar before is odd, rhythm",
    "bar before is odd, level",
    "bar before ends in a rest",
    "cymbal",
    "bass goes home",
)
# In a song without form chance would set the scale: a spread counts as this at least, about half of the usual one.
_LEAST_SPREADS = np.array([0.1] * 12 + [0.05] * 4 + [0.3, 0.1, 0.1, 1.5, 3.0, 0.1])
# The numbers of a line, in the order of the columns: each in spreads over the song, then how far it is above its
# neighbours.
NUMBERS = (*_PLAIN, *(f"{name}, above neighbours" for name in _PLAIN))


def border_numbers(rows: BarRows, alike: Likeness) -> Doubles:
    """Evidence at every bar line but the first.

    Returns
    -------
    float64 array, shape (n_bars - 1, len(NUMBERS))
        Row 0 is the line before the second bar.
    """
    matrices = (alike.harmony[0], alike.rhythm, alike.level)
    columns = [_novelty(matrix, span) for matrix in matrices for span in _SPANS]
    columns += [_not_going_on(matrix) for matrix in matrices]
    columns += _repeats(alike)
    columns += [
        _players_change(rows),
        _odd_before(alike.rhythm),
        _odd_before(alike.level),
        _rest_before(rows),
        _cymbal(rows),
        _home(alike),
    ]
    plain = np.stack(columns, axis=1)
    spreads = np.maximum(plain.std(axis=0), _LEAST_SPREADS)
    plain = np.clip((plain - plain.mean(axis=0)) / spreads, -_MOST_SPREADS, _MOST_SPREADS)
    return np.concatenate([plain, _above_neighbours(plain)], axis=1)


def _novelty(matrix: Floats, span: int) -> Doubles:
    """Mean likeness inside the bars before and after a line, less that between them, for each line but the first."""
    sums = np.zeros((len(matrix) + 1, len(matrix) + 1))
    sums[1:, 1:] = matrix.cumsum(axis=0, dtype=np.float64).cumsum(axis=1)

    def mean(r0: int, r1: int, c0: int, c1: int) -> float:
        return float(sums[r1, c1] - sums[r0, c1] - sums[r1, c0] + sums[r0, c0]) / ((r1 - r0) * (c1 - c0))

    found = []
    for line in range(1, len(matrix)):
        first, last = max(0, line - span), min(len(matrix), line + span)
        own = mean(first, line, first, line) + mean(line, last, line, last)
        found.append(own - 2 * mean(first, line, line, last))
    return np.array(found)


def _not_going_on(matrix: Floats) -> Doubles:
    """1 less the likeness of the bars after a line to those that the best loop before it would bring."""
    found = []
    for line in range(1, len(matrix)):
        bars = np.arange(line, min(line + _LOOP_BARS, len(matrix)))
        loops = range(1, min(_LONGEST_LOOP, line) + 1)
        goes_on = [float(matrix[bars, line - loop + (bars - line) % loop].mean()) for loop in loops]
        found.append(1 - max(goes_on))
    return np.array(found)


def _repeats(alike: Likeness) -> list[Doubles]:
    """How clearly diagonals begin, and end, at each line: likeness on one side of it less that on the other."""
    starts, ends = [], []
    for span in _REPEAT_SPANS:
        after, before = _along_diagonals(alike, span)
        starts.append(_strongest(after - before, after))
        ends.append(_strongest(before - after, before))
    return starts + ends


def _along_diagonals(alike: Likeness, span: int) -> tuple[Doubles, Doubles]:
    """Mean likeness of `span` bars from each pair of lines on, and up to it, in the best key: (n, n) each."""
    n = alike.bars
    after, before = np.zeros((n, n)), np.zeros((n, n))
    for key in range(KEYS):
        both = (alike.harmony[key] + alike.rhythm) / 2
        padded = np.pad(both, (0, span), mode="edge")
        sums = np.mean([padded[step : step + n, step : step + n] for step in range(span)], axis=0)
        after = np.maximum(after, sums)
        shifted = np.zeros((n, n))
        shifted[span:, span:] = sums[: n - span, : n - span]
        before = np.maximum(before, shifted)
    return after, before


def _strongest(gain: Doubles, level: Doubles) -> Doubles:
    """The mean of the two strongest places of the song that a line is compared with; weak likeness counts less."""
    n = len(gain)
    apart = np.abs(np.arange(n)[:, None] - np.arange(n)[None, :])
    weighed = np.where(apart >= _LEAST_LAG, np.maximum(gain, 0) * level**2, 0.0)
    top: Doubles = np.sort(weighed, axis=1)[1:, -2:].mean(axis=1)
    return top


def _players_change(rows: BarRows) -> Doubles:
    if not rows.players.shape[1]:
        return np.zeros(rows.bars - 1)
    found = []
    for line in range(1, rows.bars):
        before = rows.players[max(0, line - 2) : line].mean(axis=0)
        after = rows.players[line : line + 2].mean(axis=0)
        found.append(float(np.abs(after - before).sum()))
    return np.array(found)


def _odd_before(matrix: Floats) -> Doubles:
    """How unlike the bar before a line is to the bars around it, compared with how alike those are."""
    found = []
    for line in range(1, len(matrix)):
        bar = line - 1
        near = range(max(0, bar - 4), bar)
        alike = max((float(matrix[bar, other]) for other in near), default=1.0)
        usual = max((float(matrix[one, two]) for one in near for two in near if one < two), default=1.0)
        found.append(usual - alike)
    return np.array(found)


def _rest_before(rows: BarRows) -> Doubles:
    """How far the last slot of the bar before a line is below that bar."""
    slots = (10 ** (rows.level_db / 10)).sum(axis=2)
    level = 10 * np.log10(slots + 1e-9)
    fall: Doubles = np.maximum(level[:-1, :2].mean(axis=1) - level[:-1, -1], 0)
    return fall


def _cymbal(rows: BarRows) -> Doubles:
    """How long and strong the top band sounds at the line, re the bars before."""
    top = rows.level_db[:, 0, -1]
    return np.array([float(top[line] - np.median(top[max(0, line - 4) : line])) for line in range(1, rows.bars)])


def _home(alike: Likeness) -> Doubles:
    """Whether the bar after the line has the harmony that opens the song."""
    home: Doubles = alike.harmony[0][1:, 0].astype(np.float64)
    return home


def _above_neighbours(columns: Doubles) -> Doubles:
    padded = np.pad(columns, ((1, 1), (0, 0)), mode="edge")
    above: Doubles = columns - np.maximum(padded[:-2], padded[2:])
    return above
