"""Fit the weights that tell stops from other rests: python -m bench.form.fit_stops [DATA].

Learned from are the songs of `FITTED` and `FURTHER`, on their true bars and with the hits that are drafted. Prints how
often what is said is right, songs kept apart in five parts, and writes `analysis/form/stops_weights.json`.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.form.hits import LEAST_FOR_FIGURE, find_hits
from analysis.form.song_sound import hear
from analysis.form.stops import LEAST_LOG_ODDS, STOP_NUMBERS, WEIGHTS, stop_numbers
from analysis.tempo.evidence import pool
from bench.form.figures import Counts, stop_counts
from bench.form.fit_form import fit_linear
from bench.form.song_set import KnownSong, surveyed_songs
from bench.form.songs import FITTED, FURTHER

FOLDS, RIDGE = 5, 2.0


@dataclass(frozen=True)
class Example:
    """The rests of one song, which of them are stops, and how many stops it has."""

    numbers: Doubles
    is_stop: Flags
    stops: int


def example(song: KnownSong) -> Example:
    files = [file.features for file in song.files]
    sound = hear(files)
    hits = find_hits(sound, song.true_clock, pool(files), least=LEAST_FOR_FIGURE)
    rests, numbers = stop_numbers(sound, song.true_clock, hits)
    true = song.truth["stops"]
    right = [stop_counts([(rest.bar, rest.beat, rest.beats)], true).right > 0 for rest in rests]
    return Example(numbers, np.array(right, np.bool_), len(true))


def main() -> None:
    data = Path(sys.argv[1] if len(sys.argv) > 1 else "var/bench")
    examples = [example(song) for song in surveyed_songs(chain(*FITTED, *FURTHER), data)]
    counts = Counts()
    for fold in range(FOLDS):
        learned = [one for place, one in enumerate(examples) if place % FOLDS != fold]
        model = fit_linear(*_joined(learned), RIDGE)
        for one in examples[fold::FOLDS]:
            said = model.log_odds(one.numbers) > LEAST_LOG_ODDS
            counts += Counts(int((said & one.is_stop).sum()), int(said.sum()), one.stops)
    print(f"{len(examples)} songs, kept apart: precision, recall, F; right, said, true\n{counts.row()}")
    model = fit_linear(*_joined(examples), RIDGE)
    WEIGHTS.write_text(json.dumps(model.to_json(STOP_NUMBERS), indent=1) + "\n", "utf-8")


def _joined(examples: list[Example]) -> tuple[Doubles, Flags]:
    return np.concatenate([one.numbers for one in examples]), np.concatenate([one.is_stop for one in examples])


if __name__ == "__main__":
    main()
