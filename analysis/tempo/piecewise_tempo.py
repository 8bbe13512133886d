"""Several tempos in one song, each held exactly: where the time of the beats is cut into straight stretches.

A bent clock follows a change of tempo as a curve. Here the attacks' own times, by the beats counted on that clock, are
laid on straight lines that meet at beats; a few lines that hold the whole song tell steps from a drift.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Doubles
from analysis.tempo.clock import Clock
from analysis.tempo.evidence import Evidence
from analysis.tempo.grid import ERROR_FACTOR, WANDERING_S, WITNESSES_PER_ONSET, GridFit
from analysis.tempo.rounding import set_tempo

# Ratios of two beats that count one pulse: halves, thirds and quarters of each other, and what lies between.
_LEVELS = (1.0, 2.0, 0.5, 3.0, 1 / 3, 1.5, 2 / 3, 4.0, 0.25, 0.75, 4 / 3)
# House choices: an attack lies on the grid within the first, is trusted within the second, weights are found in so many
# rounds; changes looked for at most, what each side of one needs, and the coarse grid on which a new one is tried and
# moved about in so many rounds.
_NEAR_S = 0.045
_TRUST_S = 0.012
_ROUNDS = 4
_MOST_CHANGES = 4
_LEAST_SIDE_S, _LEAST_SIDE_BEATS = 5.0, 4
_COARSE_BEATS = 4
_MOVE_ROUNDS = 3
# A further change must take away this share of what the lines leave; a change below this share of the tempo is none
# (house choices).
_LEAST_GAIN = 0.12
_LEAST_CHANGE = 0.008
# What straight lines leave, averaged over this many seconds: steps leave little, drifts the arc between the lines.
# Most of it allowed, by the number of changes (house choices).
_ARC_S = 3.0
_MOST_ARC_S = {1: 0.010, 2: 0.006, 3: 0.006}
# Changes of tempo fall on bar lines: they are moved there unless the lines then leave this much more; and a bent clock
# must not fit the song far better than the lines do. Both measured on songs that drift and songs that step.
_MOST_WORSE_ON_BARS = 1.25
_LEAST_RE_BENT = 0.7
# A round tempo is taken when it is this likely (house choice).
_LEAST_SHARE = 0.75


@dataclass(frozen=True)
class Counted:
    """Attacks that lie on the grid, four float64 arrays of shape (n_attacks,).

    `beats`: beats counted to each, places within the beat included; `times_s` in the files; `late_s` on the clock they
    were counted on; `weight`.
    """

    beats: Doubles
    times_s: Doubles
    late_s: Doubles
    weight: Doubles


@dataclass(frozen=True)
class PiecewiseTempo:
    """A song with a few tempos, each steady: the clock on which all its beats are even, `beat_s` each, and its changes.

    `changes_s`: float64 array, shape (n_changes,), seconds in the files.
    """

    clock: Clock
    changes_s: Doubles
    beat_s: float

    def period_s(self, found_s: float) -> float:
        """The level of the counted beat that is nearest to `found_s`, the beat found on this clock."""
        return min((self.beat_s * level for level in _LEVELS), key=lambda period_s: abs(np.log(period_s / found_s)))


@dataclass(frozen=True)
class PiecewiseFit:
    """Straight lines from beat to time: `changes` are the beats at which the tempo changes; `arc_s` is what they leave
    when the scatter is averaged out."""

    changes: tuple[int, ...]
    start_s: float  # of beat 0
    periods_s: tuple[float, ...]
    arc_s: float

    def times_of(self, beats: Doubles) -> Doubles:
        """When each beat falls.

        Parameters
        ----------
        beats : float64 array, shape (n,)
            Beats counted as in `Counted`, fractions allowed.

        Returns
        -------
        float64 array, shape (n,)
            Seconds in the files.
        """
        changes = np.array([0, *self.changes], dtype=np.float64)
        slopes = np.diff(np.array([0.0, *self.periods_s]))
        ramps = np.where(np.arange(len(changes)) == 0, beats[:, None], np.maximum(beats[:, None] - changes, 0))
        found: Doubles = self.start_s + ramps @ slopes
        return found

    def tempo_between(self, first_beat: float, last_beat: float) -> PiecewiseTempo:
        """The clock over these beats, at least one beat beyond the first and the last change."""
        first, last = min(first_beat, self.changes[0] - 1), max(last_beat, self.changes[-1] + 1)
        knots = np.array([first, *self.changes, last], dtype=np.float64)
        clock = Clock.from_phase(self.times_of(knots), knots)
        beat_s = float(np.ptp(clock.even_s) / (last - first))
        return PiecewiseTempo(clock, self.times_of(knots[1:-1]), beat_s)


def count_attacks(music: Evidence, clock: Clock, fit: GridFit, beat_s: float) -> Counted:
    """Number the attacks that lie on the grid.

    Parameters
    ----------
    music : Evidence
        In the files' time.
    clock : Clock
        The song's own clock.
    fit : GridFit
        On the song's own clock.
    beat_s : float
        The time of beat 0, on the song's own clock.
    """
    even = clock.to_even(music.onset_s)
    places = np.array([place.offset_s for place in fit.places])
    apart = (even[:, None] - places[None, :]) / fit.period_s
    residual = (apart + 0.5) % 1 - 0.5
    late_s = np.take_along_axis(residual, np.abs(residual).argmin(axis=1)[:, None], 1)[:, 0] * fit.period_s
    near = np.abs(late_s) < min(_NEAR_S, fit.period_s / 8)
    weight = np.sqrt(music.onset_weight) * music.onset_sharpness
    beats = (even - late_s - beat_s) / fit.period_s
    return Counted(beats[near], music.onset_s[near], late_s[near], weight[near])


def fit_piecewise(counted: Counted, beats_per_bar: int) -> PiecewiseFit | None:
    """The few straight lines that fit the song, changing on bar lines; None for a tempo that moves otherwise."""
    changes = _told_apart(counted, _changes(counted))
    if len(changes) not in _MOST_ARC_S or len({change % beats_per_bar for change in changes}) > 1:
        return None
    weights = _trusted(counted, changes)
    least = _cost(counted, weights, changes)
    bent = float((weights * (counted.late_s - np.average(counted.late_s, weights=weights)) ** 2).sum())
    on_bars = sorted({round(change / beats_per_bar) * beats_per_bar for change in changes})
    on_bars = _moved(counted, weights, on_bars, beats_per_bar)
    # After an odd bar the bar lines lie on other beats: then the changes stay where the attacks put them.
    held = on_bars if _cost(counted, weights, on_bars) < _MOST_WORSE_ON_BARS * least else changes
    found = _fitted(counted, held)
    is_held = bent > _LEAST_RE_BENT * least and found.arc_s < _MOST_ARC_S[len(changes)]
    return _set(counted, found) if is_held else None


def _set(counted: Counted, found: PiecewiseFit) -> PiecewiseFit:
    """With the tempi that people set where the measurement supports them; the song is moved to fit those."""
    weights = _trusted(counted, found.changes)
    ramps = _ramps(counted.beats, found.changes)
    _, left_s = _solve(counted, weights, found.changes)
    spread_s = float(np.sqrt((weights * left_s**2).sum() / weights.sum()))
    witnesses = WITNESSES_PER_ONSET * weights.sum() ** 2 / (weights**2).sum()
    shares = np.linalg.inv(ramps.T @ (weights[:, None] * ramps) / weights.sum()) * spread_s**2 / witnesses
    sums = np.tri(len(found.periods_s))
    ends_s = found.times_of(np.array([counted.beats.min(), *found.changes, counted.beats.max()]))
    wandering_s = np.array(found.periods_s) * WANDERING_S * np.sqrt(12) / np.diff(ends_s)
    errors_s = np.hypot(ERROR_FACTOR * np.sqrt(np.diag(sums @ shares[1:, 1:] @ sums.T)), wandering_s)
    periods_s = [_set_period_s(*pair) for pair in zip(found.periods_s, map(float, errors_s), strict=True)]
    moved = replace(found, periods_s=tuple(periods_s))
    left_s = counted.times_s - moved.times_of(counted.beats)
    return replace(moved, start_s=found.start_s + float(np.average(left_s, weights=weights)))


def _changes(counted: Counted) -> list[int]:
    """Changes added one at a time where they help most, then moved about until none moves."""
    changes: list[int] = []
    weights = counted.weight
    for _ in range(_MOST_CHANGES):
        tried = _moved(counted, weights, _with_one_more(counted, weights, changes), 1)
        weights = _trusted(counted, tried)
        if _cost(counted, weights, tried) > (1 - _LEAST_GAIN) * _cost(counted, weights, changes):
            break
        changes = tried
    return changes


def _told_apart(counted: Counted, changes: list[int]) -> list[int]:
    """Without the changes that are too small to be meant."""
    while changes:
        sizes = np.abs(np.diff(np.log(_fitted(counted, changes).periods_s)))
        smallest = int(np.argmin(sizes))
        if sizes[smallest] >= _LEAST_CHANGE:
            break
        changes = [*changes[:smallest], *changes[smallest + 1 :]]
        changes = _moved(counted, _trusted(counted, changes), changes, 1)
    return changes


def _set_period_s(period_s: float, error_s: float) -> float:
    """The period of the tempo that was surely set; the measured one where that is in doubt."""
    chosen = set_tempo(60 / period_s, 60 * error_s / period_s**2)
    return float(60 / chosen.bpm) if chosen.share > _LEAST_SHARE else period_s


def _with_one_more(counted: Counted, weights: Doubles, changes: list[int]) -> list[int]:
    first, last = int(np.ceil(counted.beats.min() / _COARSE_BEATS)), int(counted.beats.max() / _COARSE_BEATS)
    options = [sorted([*changes, beat * _COARSE_BEATS]) for beat in range(first, last + 1)]
    return _best(counted, weights, [option for option in options if _is_apart(counted, option)], changes)


def _moved(counted: Counted, weights: Doubles, changes: list[int], step_beats: int) -> list[int]:
    """Each change in turn to the best place near it, until none moves."""
    for _ in range(_MOVE_ROUNDS):
        before = list(changes)
        for index in range(len(changes)):
            near = range(-_COARSE_BEATS * 2, _COARSE_BEATS * 2 + 1)
            places = {round(changes[index] / step_beats) * step_beats + shift * step_beats for shift in near}
            options = [sorted([*changes[:index], place, *changes[index + 1 :]]) for place in sorted(places)]
            changes = _best(counted, weights, [one for one in options if _is_apart(counted, one)], changes)
        if changes == before:
            break
    return changes


def _best(counted: Counted, weights: Doubles, options: Sequence[list[int]], otherwise: list[int]) -> list[int]:
    return min(options, key=lambda option: _cost(counted, weights, option), default=otherwise)


def _is_apart(counted: Counted, changes: Sequence[int]) -> bool:
    """Every stretch is long enough to have a tempo."""
    ends = [float(counted.beats.min()), *changes, float(counted.beats.max())]
    beat_s = float(np.ptp(counted.times_s) / max(np.ptp(counted.beats), 1e-9))
    least = max(_LEAST_SIDE_BEATS, _LEAST_SIDE_S / beat_s)
    return bool(np.diff(ends).min() >= least)


def _ramps(beats: Doubles, changes: Sequence[int]) -> Doubles:
    ramps = [np.ones(len(beats)), beats, *(np.maximum(beats - change, 0) for change in changes)]
    return np.stack(ramps, axis=1)


def _solve(counted: Counted, weights: Doubles, changes: Sequence[int]) -> tuple[Doubles, Doubles]:
    """Start and slopes, and what they leave."""
    ramps = _ramps(counted.beats, changes)
    normal = ramps.T @ (weights[:, None] * ramps)
    solved = np.linalg.solve(normal + 1e-9 * np.eye(len(normal)), ramps.T @ (weights * counted.times_s))
    solution = np.asarray(solved, np.float64)
    return solution, counted.times_s - ramps @ solution


def _cost(counted: Counted, weights: Doubles, changes: Sequence[int]) -> float:
    _, left_s = _solve(counted, weights, changes)
    return float((weights * left_s**2).sum())


def _trusted(counted: Counted, changes: Sequence[int]) -> Doubles:
    """Weights that leave out what lies far off the lines."""
    weights = counted.weight
    for _ in range(_ROUNDS):
        _, left_s = _solve(counted, weights, changes)
        scale_s = max(_TRUST_S, 1.5 * float(np.median(np.abs(left_s))))
        weights = counted.weight / (1 + (left_s / scale_s) ** 2)
    return weights


def _fitted(counted: Counted, changes: Sequence[int]) -> PiecewiseFit:
    weights = _trusted(counted, changes)
    solution, left_s = _solve(counted, weights, changes)
    periods = np.cumsum(solution[1:])
    return PiecewiseFit(
        tuple(changes), float(solution[0]), tuple(map(float, periods)), _arc_s(counted, weights, left_s)
    )


def _arc_s(counted: Counted, weights: Doubles, left_s: Doubles) -> float:
    """What is left when the scatter is averaged out over some seconds."""
    part = ((counted.times_s - counted.times_s[0]) / _ARC_S).astype(np.intp)
    mass = np.bincount(part, weights)
    mean = np.bincount(part, weights * left_s) / np.maximum(mass, 1e-9)
    heavy = mass > 0.25 * np.median(mass[mass > 0])
    return float(np.sqrt(np.mean(mean[heavy] ** 2)))
