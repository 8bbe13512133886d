"""Fit the second look at 3/4 and 6/8 on songs whose meter is known: python -m bench.tempo.fit_threes DATA [SET ...].

Learns from the first part of songs of `bench/form`, from songs of the project's own band, and from the SETs, such as
practice songs (`bench.tempo.practice_songs`); none of them is in a set that is reported. Nothing is learned from a SET
given with --gate. Songs are kept apart in turn; each that was right before and is wrong now is named. What is measured
of a song is kept under DATA, so that fitting again takes seconds. Writes `analysis/bars/three_weights.json`.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from analysis.bars import beat_table, readings, six_eighths
from analysis.bars.readings import COLUMNS
from analysis.bars.six_eighths import SIGNS
from analysis.bars.threes import THREE_COLUMNS, WEIGHTS_PATH, ThreeWeights, is_three
from analysis.bars.weighing import fitted_weights
from analysis.core.samples import Doubles, Flags
from analysis.features.feature_arrays import Features
from analysis.tempo.evidence import pool
from bench.form.arrangements import arrange
from bench.form.fit_lines import felt_beats, first_part, heard
from bench.tempo.fit_choice import example_of, items_of, music_of
from bench.tempo.own_songs import make_set

FOLDS = 8
FORM_SEEDS = range(100, 270)
BAND_SEED, BAND_SONGS, BAND_FEELS = 12, 15, ("waltz", "rolling", "slow-three")
# New numbers are held more tightly than those that the first look weighs already; the constant hardly.
RIDGE, NEW_RIDGE, CONSTANT_RIDGE = 5.0, 10.0, 0.5
_LEAST_SCALE = 1e-3

Song = tuple[dict[str, Any], Callable[[], list[Features]]]


@dataclass(frozen=True)
class Example:
    """One song: rows of its readings, the first look's probabilities, and which are right."""

    name: str
    meter: str
    rows: Doubles
    first: Doubles
    right: Flags

    @property
    def fold(self) -> int:
        return int(hashlib.sha256(self.name.encode()).hexdigest(), 16) % FOLDS

    def is_right(self, weights: ThreeWeights | None = None) -> bool:
        probability = weights.second_look(self.rows, self.first) if weights else self.first
        return bool(self.right[int(np.argmax(probability))])


def form_songs(data: Path) -> Iterator[Song]:
    """The songs in three and in six; of a song with a short bar, its longest stretch without decides what is right."""
    for seed in FORM_SEEDS:
        song = first_part(arrange(seed))
        if song.meter.sign not in SIGNS:
            continue
        truth, files = heard(song, data)
        beats, lines = felt_beats(truth)
        short = [bar for bar, sign in enumerate(truth["meters"]) if sign != truth["meter"]]
        edges = pairwise([-1, *short, len(truth["meters"])])
        start, end = max(((before + 1, after) for before, after in edges), key=lambda pair: pair[1] - pair[0])
        first_s, last_s = truth["downbeats_s"][start] - 0.01, truth["downbeats_s"][end] + 0.01
        beats, lines = (times[(times > first_s) & (times < last_s)] for times in (beats, lines))
        item = {"id": f"form-{seed}", "kind": "const", "meter": truth["meter"], "cat": "form"}
        yield item | {"beats": beats.tolist(), "downbeats": lines.tolist()}, partial(list, files)


def set_songs(folder: Path) -> Iterator[Song]:
    for item in items_of(folder):
        yield item, partial(music_of, folder, item)


def examples(songs: Iterator[Song], data: Path) -> Iterator[Example]:
    """Read from what is kept under `data`, or measured."""
    for item, files in songs:
        kept = data / "rows" / f"{item['id'].replace('/', '__')}-{_version()}.npz"
        if not kept.is_file():
            kept.parent.mkdir(parents=True, exist_ok=True)
            music = pool(files())
            found = example_of(item, music, 1.0) if music else None
            rows, right = (found.rows, found.right) if found else (np.zeros((0, len(COLUMNS))), np.zeros(0, np.bool_))
            np.savez_compressed(kept, rows=rows.astype(np.float32), right=right)
        with np.load(kept) as arrays:
            rows, right = arrays["rows"].astype(np.float64), arrays["right"]
        if len(rows):
            yield Example(item["id"], item["meter"], rows, fitted_weights().probabilities(rows), right)


def _version() -> str:
    """Changes with the names and with the code of what is measured."""
    sources = b"".join(Path(str(module.__file__)).read_bytes() for module in (beat_table, readings, six_eighths))
    return hashlib.sha256(sources + repr(COLUMNS).encode()).hexdigest()[:12]


def scales_of(songs: Sequence[Example]) -> Doubles:
    """Root mean square of each number in the readings of its own meter."""
    rows = np.concatenate([song.rows[:, [COLUMNS.index(name) for name in THREE_COLUMNS]] for song in songs])
    squares, counts = (rows**2).sum(axis=0), (rows != 0).sum(axis=0)
    found: Doubles = np.sqrt(squares / np.maximum(counts, 1))
    return np.maximum(found, _LEAST_SCALE)


def fit(songs: Sequence[Example]) -> ThreeWeights:
    """Weights under which right readings in 3/4 and 6/8 get the most of what all of them have."""
    blank = ThreeWeights(scales_of(songs), np.zeros(len(THREE_COLUMNS)))
    parts = [(song, is_three(song.rows)) for song in songs]
    parts = [(song, three) for song, three in parts if song.right[three].any()]
    standard = np.concatenate([blank.standard(song.rows[three]) for song, three in parts])
    base = np.concatenate([np.log(song.first[three] + 1e-300) for song, three in parts])
    right = np.concatenate([song.right[three] for song, three in parts])
    counts = np.array([three.sum() for _, three in parts])
    starts, song_of = np.concatenate([[0], np.cumsum(counts)[:-1]]), np.repeat(np.arange(len(parts)), counts)
    ridge = np.array([CONSTANT_RIDGE, *(NEW_RIDGE if "eighths." in name else RIDGE for name in THREE_COLUMNS[1:])])

    def cost(weight: Doubles) -> tuple[float, Doubles]:
        scores = base + standard @ weight
        shares = np.exp(scores - np.maximum.reduceat(scores, starts)[song_of])
        total, good = np.add.reduceat(shares, starts), np.add.reduceat(shares * right, starts) + 1e-12
        pull = shares / total[song_of] - shares * right / good[song_of]
        loss = -np.log(good / total).sum() + 0.5 * (ridge * weight**2).sum()
        return float(loss), standard.T @ pull + ridge * weight

    found = minimize(cost, np.zeros(len(ridge)), jac=True, method="L-BFGS-B", options={"maxiter": 400})
    return ThreeWeights(blank.scale, found.x)


def report(name: str, songs: Sequence[Example], weights: Callable[[Example], ThreeWeights]) -> None:
    """By meter, how many are right before and now; then each that went wrong."""
    for meter in sorted({song.meter for song in songs}):
        chosen = [song for song in songs if song.meter == meter]
        before, now = sum(song.is_right() for song in chosen), sum(song.is_right(weights(song)) for song in chosen)
        print(f"{name:14} {meter:5} {len(chosen):4} songs: right {before:4} before, {now:4} now")
    for song in songs:
        if song.is_right() and not song.is_right(weights(song)):
            print(f"  went wrong: {song.name} {song.meter}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("data", type=Path)
    parser.add_argument("sets", type=Path, nargs="*")
    parser.add_argument("--gate", type=Path, nargs="*", default=[], help="sets that nothing is learned from")
    options = parser.parse_args()
    (options.data / "threes").mkdir(parents=True, exist_ok=True)
    band = make_set(options.data / "threes", BAND_SEED, BAND_SONGS, BAND_FEELS)
    taught = {
        "form": list(examples(form_songs(options.data), options.data)),
        "band": list(examples(set_songs(band), options.data / "threes")),
    }
    for folder in options.sets:
        taught[folder.name] = list(examples(set_songs(folder), folder))
    songs = [song for found in taught.values() for song in found]
    by_fold = [fit([song for song in songs if song.fold != fold]) for fold in range(FOLDS)]
    weights = fit(songs)
    for name, found in taught.items():
        report(name, found, lambda song: by_fold[song.fold])
        report(f"{name}, taught", found, lambda _: weights)
    for folder in options.gate:
        report(folder.name, list(examples(set_songs(folder), folder)), lambda _: weights)
    weights.save(WEIGHTS_PATH)


if __name__ == "__main__":
    main()
