"""Fit the weights that tell hits from other strokes, on songs whose hits are known; report on songs held apart.

usage: python -m bench.form.fit_hits [DATA] [--out FILE]

Learned from are the songs of `FITTED` and the first ones of `FURTHER`. In five folds of whole songs each song is read
with weights that have not seen it; what is stored is fitted on all of them.
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
from analysis.form.push_numbers import push_numbers
from analysis.form.slots import Slots, lay_slots
from analysis.form.song_sound import hear
from analysis.tempo.evidence import pool
from bench.form.song_set import KnownSong, surveyed_songs
from bench.form.songs import FITTED, FURTHER

FOLDS = 5
RIDGE, PUSH_RIDGE = 2.0, 0.5
MORE_SONGS = 79


@dataclass(frozen=True)
class Example:
    """The slots of one song. All but the numbers have shape (n_bars, n_slots); `asked` are those that may be pushes."""

    numbers: Doubles
    inside: Flags
    is_hit: Flags
    push_numbers: Doubles
    asked: Flags
    is_push: Flags


def example(song: KnownSong) -> Example:
    files = [file.features for file in song.files]
    sound, music = hear(files), pool(files)
    assert music is not None
    grid = next(lay_slots(song.true_clock, sound))
    is_hit, is_push = (_true_hits(song, grid, kinds) for kinds in (("figure", "push"), ("push",)))
    numbers, asked = push_numbers(grid, sound, music, song.true_clock)
    return Example(hit_numbers(grid, sound), grid.inside, is_hit, numbers, asked & (is_push | ~is_hit), is_push)


def _true_hits(song: KnownSong, grid: Slots, kinds: tuple[str, ...]) -> Flags:
    found = np.zeros(grid.times_s.shape, np.bool_)
    for hit in (hit for hit in song.truth["hits"] if hit["kind"] in kinds):
        row = np.flatnonzero(grid.bars == hit["bar"] - 1)
        found[row, np.abs(grid.beats - hit["beat"]).argmin()] = True
    return found


def fit(rows: Doubles, answers: Flags, ridge_weight: float = RIDGE) -> Regression:
    """Least log loss with a ridge."""
    means, scales = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    scaled = np.clip((rows - means) / scales, -MOST_SPREADS, MOST_SPREADS)
    signs = np.where(answers, 1.0, -1.0)

    def loss(values: Doubles) -> tuple[float, Doubles]:
        margins = signs * (scaled @ values[:-1] + values[-1])
        slopes = -signs / (1 + np.exp(margins))
        ridge = ridge_weight * np.append(values[:-1], 0.0)
        return float(np.logaddexp(0, -margins).sum() + values @ ridge), np.append(
            scaled.T @ slopes, slopes.sum()
        ) + 2 * ridge

    found = minimize(loss, np.zeros(rows.shape[1] + 1), jac=True, method="L-BFGS-B").x
    return Regression(means, scales, found[:-1], float(found[-1]))


def fit_model(examples: Sequence[Example]) -> HitModel:
    answers = np.concatenate([one.is_hit[one.inside] for one in examples])
    alone = fit(np.concatenate([one.numbers[one.inside] for one in examples]), answers)
    rows = [with_bar(one.numbers, one.inside, alone.logits(one.numbers))[one.inside] for one in examples]
    pushes = np.concatenate([one.push_numbers[one.asked] for one in examples])
    are_pushes = np.concatenate([one.is_push[one.asked] for one in examples])
    return HitModel(alone, fit(np.concatenate(rows), answers), fit(pushes, are_pushes, PUSH_RIDGE))


def held_apart(examples: Sequence[Example]) -> list[Doubles]:
    """Probabilities of each song's slots, by weights that have not seen it."""
    models = [fit_model([one for place, one in enumerate(examples) if place % FOLDS != fold]) for fold in range(FOLDS)]
    found = []
    for place, one in enumerate(examples):
        model = models[place % FOLDS]
        pushes = model.push_probabilities(one.push_numbers, one.asked)
        found.append(np.maximum(model.probabilities(one.numbers, one.inside), pushes))
    return found


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
    examples = [example(song) for song in surveyed_songs(chain(*FITTED, FURTHER[0][:MORE_SONGS]), options.data)]
    likely = held_apart(examples)
    print(f"{len(examples)} songs; least probability, precision, recall, F of slots, each song held apart")
    for least in np.arange(0.2, 0.75, 0.05):
        print(f"  {least:.2f}  " + "  ".join(f"{value:.3f}" for value in scores(examples, likely, float(least))))
    fit_model(examples).save(options.out)


if __name__ == "__main__":
    main()
