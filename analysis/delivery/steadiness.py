"""How strokes' distance from the map goes on over a stretch of the song: even, sloping, or with a jump.

What the part itself plays off the grid (a swung off-beat) is taken out first: each stroke is compared with those that
fall on the same part of the beat.

Tested in `tests/analysis/delivery/test_tempo_checks.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.core.samples import Doubles
from analysis.delivery.map_tempo import Stretch

# A part of the beat must stay this long, so that distances do not wrap; thirds where they explain this much more
# (house choices).
_SHORTEST_PART_S, _SWING_ADVANTAGE = 0.1, 1.3
# A slope this small over the stretch needs no grid of its own; up to the second it may be a jump (house choices).
_SMALL_S, _JUMP_LIKE_S = 0.04, 0.12
# Players wander: errors are taken from means over so many beats (house choice).
_BLOCK_BEATS = 8
_FEWEST_BESIDE = 10
# Strokes further off the grid than so many median distances are of another figure (house choice).
_FAR_MEDIANS, _NEAR_S = 3.0, 0.03
# Where a jump is looked at closely: strokes on each side, and the share of it that must show there (house choices).
_CLOSE_STROKES, _CLOSE_SHARE = 10, 0.6
# Strokes of a short segment gather when their places are so much alike, from 0 to 1; fewer are not asked (house
# choices: six random ones are 0.29 in the mean of squares, loose playing is 0.5 and more).
_GATHERED, _FEWEST_TO_GATHER = 0.4, 6
# A jump must explain this much of all scatter, and more than a slope does (house choice).
_EXPLAINED = 0.35


@dataclass(frozen=True)
class Steadiness:
    """`slope`: how much later each second is than the one before; `slope_error`: its standard error. `jump_s` is 0.0
    where there is none; `jump_at_s` is its place."""

    slope: float
    slope_error: float
    jump_s: float = 0.0
    jump_at_s: float = 0.0


def steadiness_of(stretch: Stretch, factor: float) -> Steadiness:
    """Of strokes that keep `factor` times the map's tempo."""
    change_s = abs(1 / factor - 1) * float(np.ptp(stretch.times_s))
    if change_s <= _JUMP_LIKE_S:
        times_s, late = _late(stretch, 1.0)
        slope, error = _slope(times_s, late, stretch)
        jump_s, at_s = _jump(times_s, late, slope)
        if jump_s or change_s <= _SMALL_S:
            return Steadiness(slope, error, jump_s, at_s)
    slope, error = _slope(*_late(stretch, factor), stretch)
    return Steadiness(1 / factor - 1 + slope, error)


def astray(stretch: Stretch) -> float | None:
    """Where a segment of the map begins whose strokes do not gather where the whole stretch's do; None without one."""
    division = part_of_beat(stretch.beats, float(np.median(stretch.beat_s)))
    turns = np.exp(2j * np.pi * division * stretch.beats)
    shared = turns.mean() / max(abs(turns.mean()), 1e-12)
    for start_s, end_s in pairwise((stretch.start_s, *stretch.inner_s, stretch.end_s)):
        mine = turns[(stretch.times_s >= start_s) & (stretch.times_s < end_s)]
        if len(mine) >= _FEWEST_TO_GATHER and float((mine.mean() / shared).real) < _GATHERED:
            return max(start_s, float(stretch.times_s[0]))
    return None


def part_of_beat(beats: Doubles, beat_s: float) -> int:
    """How finely strokes lie in the beat: quarters, thirds where they explain clearly more, or what a fast beat
    allows."""
    gathered = [abs(np.exp(2j * np.pi * division * beats).mean()) for division in (4, 3)]
    wanted = 3 if gathered[1] > _SWING_ADVANTAGE * gathered[0] else 4
    while wanted > 1 and beat_s / wanted < _SHORTEST_PART_S:
        wanted = 2 if wanted == 4 else 1
    return wanted


def _late(stretch: Stretch, factor: float) -> tuple[Doubles, Doubles]:
    """Times, and seconds after the grid, each part of the beat around its own mean; without what lies far off all."""
    beats = stretch.beats * factor
    division = part_of_beat(beats, float(np.median(stretch.beat_s)) / factor)
    # Another tempo, or a set that is late, lies anywhere between the places that are counted: what all strokes share is
    # taken out, so that no distance jumps from one side of a place to the other.
    beats = beats - np.angle(np.exp(2j * np.pi * division * beats).mean()) / (2 * np.pi * division)
    places = np.rint(beats * division).astype(np.intp)
    late = (beats * division - places) / division / factor * stretch.beat_s
    near = np.abs(late - np.median(late)) <= max(
        _FAR_MEDIANS * float(np.median(np.abs(late - np.median(late)))), _NEAR_S
    )
    centred: Doubles = late[near]
    for part in range(division):
        mine = places[near] % division == part
        centred[mine] -= centred[mine].mean() if mine.any() else 0.0
    return stretch.times_s[near], centred


def _slope(times_s: Doubles, late: Doubles, stretch: Stretch) -> tuple[float, float]:
    """Least squares; its error from single strokes or from blocks of them, whichever is larger."""
    centred = times_s - times_s.mean()
    slope, level = (float(value) for value in np.polyfit(centred, late, 1))
    rest = late - level - slope * centred
    blocks = np.asarray((times_s - times_s[0]) // (_BLOCK_BEATS * float(np.median(stretch.beat_s))), np.intp)
    sums = np.bincount(blocks, centred * rest)
    by_block = float(np.sqrt((sums**2).sum())) * len(sums) / max(len(sums) - 2, 1)
    by_stroke = float(np.sqrt((rest**2).mean() * (centred**2).sum()))
    return slope, max(by_block, by_stroke) / float((centred**2).sum())


def _jump(times_s: Doubles, late: Doubles, slope: float) -> tuple[float, float]:
    """The best split into two levels, where it explains much, more than the slope does, and happens at once."""
    count = len(late)
    if count < 2 * _FEWEST_BESIDE + 2:
        return 0.0, 0.0
    sums = np.cumsum(late)
    split = np.arange(_FEWEST_BESIDE, count - _FEWEST_BESIDE)
    before, after = sums[split - 1] / split, (sums[-1] - sums[split - 1]) / (count - split)
    gain = (after - before) ** 2 * split * (count - split) / count
    best = int(gain.argmax())
    scatter = float(((late - late.mean()) ** 2).sum())
    centred = times_s - times_s.mean()
    by_slope = slope**2 * float((centred**2).sum())
    jump_s, at = float(after[best] - before[best]), int(split[best])
    close = float(np.median(late[at : at + _CLOSE_STROKES]) - np.median(late[max(0, at - _CLOSE_STROKES) : at]))
    sudden = close * np.sign(jump_s) >= _CLOSE_SHARE * abs(jump_s)
    if gain[best] < _EXPLAINED * scatter or gain[best] <= by_slope or not sudden:
        return 0.0, 0.0
    return jump_s, float(times_s[at])
