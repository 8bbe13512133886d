"""Hits: where the band plays a figure together, off what it plays otherwise.

Each slot of the grid gets a probability from its numbers (`hit_numbers.py`) by a logistic regression, and a second one
that also sees the first one's answers for the rest of the bar: a figure has more than one stroke, mostly. A push has
one stroke and a regression of its own (`push_numbers.py`). The weights are fitted by `bench/form/fit_hits.py` on songs
whose hits are known.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Self

import numpy as np

from analysis.core.chart_draft import Hit
from analysis.core.named_columns import by_name, values_in_order
from analysis.core.samples import Doubles, Flags, Indices
from analysis.form.bar_clock import BarClock
from analysis.form.hit_numbers import NUMBERS, hit_numbers
from analysis.form.push_numbers import PUSH_NUMBERS, push_numbers
from analysis.form.slots import LEVEL_FRAMES, Slots, lay_slots
from analysis.form.song_sound import SongSound
from analysis.tempo.evidence import Evidence

WEIGHTS = Path(__file__).with_name("hits_weights.json")
# What the second regression sees besides `NUMBERS`.
BAR_NUMBERS = ("likely by itself", "likeliest of the bar", "likeliest other of the bar", "hits in the bar")
# The numbers that each regression weighs.
COLUMNS = {"alone": NUMBERS, "in_bar": NUMBERS + BAR_NUMBERS, "push": PUSH_NUMBERS}
MOST_SPREADS = 4.0  # standard deviations: what lies further out must not decide alone (house choice)
_LEAST_LOGIT = -9.0
# From this probability on it is a hit: fitted with the weights.
LEAST_PROBABILITY = 0.38
# From this on it may be one: enough to say that a rest beside it is no stop (house choice).
LEAST_FOR_FIGURE = 0.25
_FEWEST_BARS = 2
# So many slots in a row are a fill or a run, not a figure of accents (house choice).
_RUN = 4
# A hit lasts until the level has fallen this far (house choice).
_LENGTH_FALL_DB = 10.0


@dataclass(frozen=True)
class Regression:
    """A logistic regression over named numbers, each standardised by its mean and scale first."""

    means: Doubles
    scales: Doubles
    weights: Doubles
    constant: float

    @classmethod
    def from_json(cls, data: dict[str, Any], names: tuple[str, ...]) -> Self:
        """Raises ValueError when the stored columns are not `names`."""
        means, scales, weights = (values_in_order(data[part], names) for part in ("means", "scales", "weights"))
        return cls(means, scales, weights, float(data["constant"]))

    def to_json(self, names: tuple[str, ...]) -> dict[str, Any]:
        columns = {"means": self.means, "scales": self.scales, "weights": self.weights}
        named: dict[str, Any] = {part: by_name(names, values, digits=5) for part, values in columns.items()}
        return named | {"constant": round(self.constant, 5)}

    def logits(self, rows: Doubles) -> Doubles:
        """Log odds of each row.

        Parameters
        ----------
        rows : float64 array, shape (..., n_numbers)

        Returns
        -------
        float64 array, shape (...)
        """
        scaled = np.clip((rows - self.means) / self.scales, -MOST_SPREADS, MOST_SPREADS)
        logits: Doubles = scaled @ self.weights + self.constant
        return logits


@dataclass(frozen=True)
class HitModel:
    """First each slot by itself, then with a look at its bar; pushes apart."""

    alone: Regression
    in_bar: Regression
    push: Regression

    @classmethod
    def load(cls, path: Path) -> Self:
        data = json.loads(path.read_text("utf-8"))
        return cls(**{part: Regression.from_json(data[part], names) for part, names in COLUMNS.items()})

    def save(self, path: Path) -> None:
        data = {part: getattr(self, part).to_json(names) for part, names in COLUMNS.items()}
        path.write_text(json.dumps(data, indent=1) + "\n", "utf-8")

    def probabilities(self, numbers: Doubles, inside: Flags) -> Doubles:
        """How likely each slot is a hit.

        Parameters
        ----------
        numbers : float64 array, shape (n_bars, n_slots, n_numbers)
            As `hit_numbers` gives them.
        inside : bool array, shape (n_bars, n_slots)
            Which slots are in their bar.

        Returns
        -------
        float64 array, shape (n_bars, n_slots)
            0 past a bar's end.
        """
        logits = self.in_bar.logits(with_bar(numbers, inside, self.alone.logits(numbers)))
        return np.where(inside, 1 / (1 + np.exp(-logits)), 0.0)

    def push_probabilities(self, numbers: Doubles, asked: Flags) -> Doubles:
        """How likely each slot is a push, shape (n_bars, n_slots): 0 where it is not `asked`.

        Parameters
        ----------
        numbers : float64 array, shape (n_bars, n_slots, n_push_numbers)
        asked : bool array, shape (n_bars, n_slots)
        """
        return np.where(asked, 1 / (1 + np.exp(-self.push.logits(numbers))), 0.0)


def with_bar(numbers: Doubles, inside: Flags, logits: Doubles) -> Doubles:
    """The numbers of each slot and what the first regression says of its bar, in the order of `BAR_NUMBERS`.

    Parameters
    ----------
    numbers : float64 array, shape (n_bars, n_slots, n_numbers)
    inside : bool array, shape (n_bars, n_slots)
    logits : float64 array, shape (n_bars, n_slots)
        Of the first regression.

    Returns
    -------
    float64 array, shape (n_bars, n_slots, n_numbers + 4)
    """
    held = np.where(inside, np.maximum(logits, _LEAST_LOGIT), _LEAST_LOGIT)
    ranked = np.sort(held, axis=1)[:, ::-1]
    first, second = ranked[:, :1], ranked[:, 1:2]
    other = np.where(held >= first, second, first)
    count = np.log((1 / (1 + np.exp(-held))).sum(axis=1, keepdims=True))
    bar = np.stack([held, *(np.broadcast_to(column, held.shape) for column in (first, other, count))], axis=2)
    return np.concatenate([numbers, bar], axis=2)


@cache
def _stored_model() -> HitModel:
    return HitModel.load(WEIGHTS)


def find_hits(
    sound: SongSound, clock: BarClock, music: Evidence | None = None, *, least: float = LEAST_PROBABILITY
) -> tuple[Hit, ...]:
    """Hits of the whole song, at least so likely, in order of time; the last bar's are left to its ending.

    Parameters
    ----------
    sound : SongSound
    clock : BarClock
    music : Evidence, optional
        On the clock's time. Without its harmony single pushes are not looked for.
    """
    return hits_among(likely_slots(sound, clock, music), sound, clock, least=least)


def likely_slots(sound: SongSound, clock: BarClock, music: Evidence | None = None) -> tuple[tuple[Slots, Doubles], ...]:
    """How likely each slot is a hit, on the grid of each note value: float64 arrays, shape (n_bars, n_slots)."""
    found = []
    for grid in lay_slots(clock, sound):
        if len(grid.bars) >= _FEWEST_BARS:
            likely = _stored_model().probabilities(hit_numbers(grid, sound), grid.inside)
            if music is not None:
                pushes = _stored_model().push_probabilities(*push_numbers(grid, sound, music, clock))
                likely = np.maximum(likely, pushes)
            found.append((grid, likely))
    return tuple(found)


def hits_among(
    slots: Iterable[tuple[Slots, Doubles]], sound: SongSound, clock: BarClock, *, least: float = LEAST_PROBABILITY
) -> tuple[Hit, ...]:
    """Hits on slots that are at least so likely, as `likely_slots` gives them."""
    found: list[Hit] = []
    for grid, likely in slots:
        found += _hits_on(grid, np.where(likely >= least, likely, 0.0), sound, clock)
    return tuple(sorted(found, key=lambda hit: (hit.bar, hit.beat)))


def _hits_on(grid: Slots, likely: Doubles, sound: SongSound, clock: BarClock) -> Iterator[Hit]:
    """Hits on the slots that are likely at all: the others have 0."""
    for row, bar in enumerate(grid.bars):
        slots = _without_runs(np.flatnonzero(likely[row]))
        if bar == clock.bars - 1:
            continue
        for slot, following in zip(slots, [*slots[1:], int(grid.inside[row].sum())], strict=False):
            length = _length_beats(grid, sound, int(grid.at_frame[row, slot]), int(following - slot))
            yield Hit(int(bar) + 1, round(float(grid.beats[slot]), 4), length, round(float(likely[row, slot]), 3))


def _without_runs(slots: Indices) -> Indices:
    runs = np.split(slots, np.flatnonzero(np.diff(slots) > 1) + 1)
    return np.concatenate([run for run in runs if len(run) < _RUN] or [slots[:0]])


def _length_beats(grid: Slots, sound: SongSound, start: int, most_slots: int) -> float:
    """How long the sound stays up, in slots of the grid: at least one, at most to the next hit or the bar's end."""
    level_db = sound.level_db[start : start + most_slots * grid.slot_frames]
    peak_db = level_db[:LEVEL_FRAMES].max(initial=-np.inf)
    fallen = np.flatnonzero(level_db < peak_db - _LENGTH_FALL_DB)
    slots = round(fallen[0] / grid.slot_frames) if len(fallen) else most_slots
    return round(max(1, slots) * float(grid.beats[1] - grid.beats[0]), 4)
