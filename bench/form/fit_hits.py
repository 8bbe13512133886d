"""Fit the weights that tell hits from other strokes, on songs whose hits are known; report on songs held apart.

usage: python -m bench.form.fit_hits [DATA] [--out FILE]

Learned from are the songs of `FITTED`. In five folds of whole songs each song is read with weights that have not seen
it; what is stored is fitted on all of them.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from analysis.core.samples import Doubles, Flags
from analysis.form.hit_numbers import hit_numbers
from analysis.form.hits import MOST_SPREADS, WEIGHTS, HitModel, Regression, with_bar
from analysis.form.slots import Slots, lay_slots
from analysis.form.song_sound import hear
from bench.form.song_set import KnownSong, known_songs
from bench.form.songs import FITTED

FOLDS = 5
RIDGE = 2.0


@dataclass(frozen=True)
class Example:
    """The slots of one song. `is_hit` and `inside` have shape (n_bars, n_slots)."""

    numbers: Doubles
    inside: Flags
    is_hit: Flags


def example(song: KnownSong) -> Example:
    sound = hear([file.features for file in song.files])
    grid = next(lay_slots(song.true_clock, sound))
    return Example(hit_numbers(grid, sound), grid.inside, _true_hits(song, grid))


def _true_hits(song: KnownSong, grid: Slots) -> Flags:
    found = np.zeros(grid.times_s.shape, np.bool_)
    for hit in song.truth["hits"]:
        row = np.flatnonzero(grid.bars == hit["bar"] - 1)
        found[row, np.abs(grid.beats - hit["beat"]).argmin()] = True
    return found


def fit(rows: Doubles, answers: Flags) -> Regression:
    """Least log loss with a ridge."""
    means, scales = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    scaled = np.clip((rows - means) / scales, -MOST_SPREADS, MOST_SPREADS)
    signs = np.where(answers, 1.0, -1.0)

    def loss(values: Doubles) -> tuple[float, Doubles]:
        margins = signs * (scaled @ values[:-1] + values[-1])
        slopes = -signs / (1 + np.exp(margins))
        ridge = RIDGE * np.append(values[:-1], 0.0)
        return float(np.logaddexp(0, -margins).sum() + values @ ridge), np.append(
            scaled.T @ slopes, slopes.sum()
        ) + 2 * ridge

    found = minimize(loss, np.zeros(rows.shape[1] + 1), jac=True, method="L-BFGS-B").x
    return Regression(means, scales, found[:-1], float(found[-1]))


def fit_model(examples: Sequence[Example]) -> HitModel:
    answers = np.concatenate([one.is_hit[one.inside] for one in examples])
    alone = fit(np.concatenate([one.numbers[one.inside] for one in examples]), answers)
    rows = [with_bar(one.numbers, one.inside, alone.logits(one.numbers))[one.inside] for one in examples]
    return HitModel(alone, fit(np.concatenate(rows), answers))


def held_apart(examples: Sequence[Example]) -> list[Doubles]:
    """Probabilities of each song's slots, by weights that have not seen it."""
    models = [fit_model([one for place, one in enumerate(examples) if place % FOLDS != fold]) for fold in range(FOLDS)]
    return [models[place % FOLDS].probabilities(one.numbers, one.inside) for place, one in enumerate(examples)]


def scores(examples: Sequence[Example], likely: Sequence[Doubles], least: float) -> tuple[float, float, float]:
    """Precision, recall and F of the slots that are called hits from this probability on."""
    said = sum(int((one >= least).sum()) for one in likely)
    true = sum(int(one.is_hit.sum()) for one in examples)
    right = sum(int((mine >= least)[one.is_hit].sum()) for one, mine in zip(examples, likely, strict=True))
    return right / max(said, 1), right / max(true, 1), 2 * right / max(said + true, 1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path, nargs="?", default=Path("var/bench"))
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    options = parser.parse_args()
    examples = [example(song) for song in known_songs(chain(*FITTED), options.data)]
    likely = held_apart(examples)
    print(f"{len(examples)} songs; least probability, precision, recall, F of slots, each song held apart")
    for least in np.arange(0.2, 0.75, 0.05):
        print(f"  {least:.2f}  " + "  ".join(f"{value:.3f}" for value in scores(examples, likely, float(least))))
    fit_model(examples).save(options.out)


if __name__ == "__main__":
    main()
