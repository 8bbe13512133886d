"""Fit the weights of borders and of pairs of sections on the songs of `FITTED`: python -m bench.form.fit_form [DATA].

Each is a logistic regression with a ridge on numbers in spreads. Prints, for songs kept apart in turn, how close the
sections come; then fits on all of them and writes `analysis/form/form_weights.json`.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import minimize

from analysis.core.linear_model import LinearModel
from analysis.core.samples import Doubles, Flags
from analysis.form.bar_rows import bar_rows
from analysis.form.borders import border_numbers
from analysis.form.division import divide
from analysis.form.letters import group_alike, pair_numbers
from analysis.form.likeness import Likeness, likeness
from analysis.form.sections import file_level, pair_odds
from analysis.form.weights import PATH, FormModels
from analysis.tempo.evidence import pool
from bench.form.scores import border_scores, pairwise_f
from bench.form.song_set import KnownSong, known_songs
from bench.form.songs import FITTED

FOLDS = 6
BORDER_RIDGE, PAIR_RIDGE = 30.0, 3.0


@dataclass(frozen=True)
class Example:
    """A song's evidence and what is true of it.

    Attributes
    ----------
    lines : float64 array, shape (n_bars - 1, n_border_numbers)
    is_border : bool array, shape (n_bars - 1,)
    pairs : float64 array, shape (n_pairs, n_pair_numbers)
    is_alike : bool array, shape (n_pairs,)
    """

    song: KnownSong
    alike: Likeness
    lines: Doubles
    is_border: Flags
    pairs: Doubles
    is_alike: Flags


def example_of(song: KnownSong) -> Example:
    features = [file.features for file in song.files]
    music = pool(features)
    assert music is not None
    rows = bar_rows(music, [file_level(one) for one in features], song.true_clock)
    alike = likeness(rows)
    is_border = np.zeros(rows.bars - 1, np.bool_)
    is_border[[bar - 1 for bar in song.borders]] = True
    edges = [0, *song.borders, rows.bars]
    sections = [range(start, end) for start, end in pairwise(edges)]
    names = [song.labels[section.start] for section in sections]
    pairs = list(combinations(range(len(sections)), 2))
    numbers = np.stack([pair_numbers(alike, sections[one], sections[two]) for one, two in pairs])
    same = np.array([names[one] == names[two] for one, two in pairs])
    return Example(song, alike, border_numbers(rows, alike), is_border, numbers, same)


def fit_linear(rows: Doubles, answers: Flags, ridge: float) -> LinearModel:
    """Logistic regression; the ridge holds the weights of numbers in spreads.

    Parameters
    ----------
    rows : float64 array, shape (n_rows, n_numbers)
    answers : bool array, shape (n_rows,)
    ridge : float
    """
    means, scales = rows.mean(axis=0), np.maximum(rows.std(axis=0), 1e-6)
    standard = (rows - means) / scales
    sign = np.where(answers, 1.0, -1.0)

    def loss(point: Doubles) -> tuple[float, Doubles]:
        odds = sign * (standard @ point[:-1] + point[-1])
        share = -sign / (1 + np.exp(np.clip(odds, -50, 50)))
        slope = np.concatenate([standard.T @ share + ridge * point[:-1], [share.sum()]])
        return float(np.logaddexp(0, -odds).sum() + ridge / 2 * point[:-1] @ point[:-1]), slope

    best = minimize(loss, np.zeros(rows.shape[1] + 1), jac=True, method="L-BFGS-B").x
    weights = best[:-1] / scales
    return LinearModel(weights, float(best[-1] - weights @ means))


def fit_models(examples: list[Example]) -> FormModels:
    return FormModels(
        fit_linear(
            np.concatenate([one.lines for one in examples]),
            np.concatenate([one.is_border for one in examples]),
            BORDER_RIDGE,
        ),
        fit_linear(
            np.concatenate([one.pairs for one in examples]),
            np.concatenate([one.is_alike for one in examples]),
            PAIR_RIDGE,
        ),
    )


def scores_of(models: FormModels, example: Example) -> list[float]:
    """F within one bar, F exact, pairwise F of the labels."""
    sections = divide(models.borders.log_odds(example.lines))
    found = [section.start for section in sections[1:]]
    groups = group_alike(pair_odds(models.pairs, example.alike, sections))
    labels = [str(group) for section, group in zip(sections, groups, strict=True) for _ in section]
    near, exact = (border_scores(found, example.song.borders, within=within).f for within in (1, 0))
    return [near, exact, pairwise_f(labels, example.song.labels)]


def main() -> None:
    data = Path(sys.argv[1] if len(sys.argv) > 1 else "var/bench")
    examples = [example_of(song) for seeds in FITTED for song in known_songs(seeds, data)]
    kept_apart = []
    for fold in range(FOLDS):
        models = fit_models([one for index, one in enumerate(examples) if index % FOLDS != fold])
        kept_apart += [scores_of(models, one) for index, one in enumerate(examples) if index % FOLDS == fold]
    near, exact, labels = np.mean(kept_apart, axis=0)
    print(f"{len(examples)} songs, kept apart: borders F {near:.3f}, exact {exact:.3f}, labels {labels:.3f}")
    PATH.write_text(json.dumps(fit_models(examples).to_json(), indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
