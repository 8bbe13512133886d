"""Fit which reading's bars a chart is drafted on: python -m bench.form.fit_bars [DATA].

Learns from songs of `FITTED` and `TAUGHT`, none of which is in the set that is reported. A softmax over each song's
readings with a ridge on numbers in spreads. Prints, for songs kept apart in turn, how many are read right, names those
that measuring had right and that are wrong now, and writes `analysis/measuring/bar_weights.json`. What is laid out of a
song is kept under DATA.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from analysis.bars import measures, odd_bars
from analysis.core.linear_model import LinearModel
from analysis.core.samples import Doubles, Flags
from analysis.maps.tempo_map import MeterSign
from analysis.measuring import bar_numbers, bar_readings, bars_by_form, eighth_groups
from analysis.measuring.bar_numbers import NUMBERS, BarsRead
from bench.form.calibration import share_near
from bench.form.song_set import KnownSong, known_songs
from bench.form.songs import FITTED

# Songs of every kind, then those rich in three, six and twelve.
TAUGHT = (range(200, 229), range(300, 340), range(6000, 6095))
FOLDS = 8
RIDGE, WEIGHT_RIDGE = 3.0, 1.0
# A reading is right if its bars have the right length within this share, and so many lines are true ones, or nearly as
# many as in the best one: a short bar that is not seen leaves half a bar between.
_SAME_LENGTH, _NEARLY, _LEAST_LINES = 0.02, 0.04, 0.45
_LAST_BARS = 5


@dataclass(frozen=True)
class Example:
    """A song: its readings' numbers, the likeliest reading first, and which of them are right."""

    seed: int
    meter: str
    rows: Doubles
    right: Flags

    def is_right(self, model: LinearModel | None) -> bool:
        return bool(self.right[int(np.argmax(model.log_odds(self.rows))) if model else 0])


def example_of(song: KnownSong, kept: Path) -> Example | None:
    """Read from `kept`, or laid out; None for a song without readings."""
    if not kept.is_file():
        kept.parent.mkdir(parents=True, exist_ok=True)
        read, numbers = bars_by_form.readings_of_song(song.music, [file.features for file in song.files])
        np.savez_compressed(kept, rows=numbers, right=_right(read, song.truth))
    with np.load(kept) as arrays:
        rows, right = arrays["rows"], arrays["right"]
    return Example(song.seed, song.truth["meter"], rows, right) if len(rows) else None


def _right(read: Sequence[BarsRead], truth: dict[str, Any]) -> Flags:
    lines_s = np.array(truth["downbeats_s"])
    bar_s, true_s = float(np.median(np.diff(lines_s))), lines_s[:-_LAST_BARS]
    # Four felt beats are read as 4/4; whether they are written in 12/8 is another question.
    sign = "4/4" if MeterSign.parse(truth["meter"]).beats_per_bar == 4 else truth["meter"]
    shares = np.array([_share(one, sign, bar_s, true_s) for one in read])
    return np.asarray(shares >= max(_LEAST_LINES, shares.max(initial=0.0) - _NEARLY), np.bool_)


def _share(read: BarsRead, sign: str, bar_s: float, true_s: Doubles) -> float:
    """Of the true lines and of those read, the lesser share that are the others'."""
    found_s = read.clock.downbeats_s
    if read.sign != sign or abs(float(np.median(np.diff(found_s))) / bar_s - 1) > _SAME_LENGTH:
        return 0.0
    inside = found_s[(found_s > true_s[0] - bar_s / 4) & (found_s < true_s[-1] + bar_s / 4)]
    return min(share_near(true_s, found_s), share_near(inside, true_s))


def fit(songs: Sequence[Example]) -> LinearModel:
    """Weights under which the right readings get the most; that of what measuring says is held to 1."""
    rows, right = np.concatenate([song.rows for song in songs]), np.concatenate([song.right for song in songs])
    counts = np.array([len(song.right) for song in songs])
    starts, song_of = np.concatenate([[0], np.cumsum(counts)[:-1]]), np.repeat(np.arange(len(songs)), counts)
    scales = np.maximum(rows.std(axis=0), 1e-6)
    is_weight = np.array([name == "weight" for name in NUMBERS])
    scales[is_weight] = 1.0
    standard, usual = rows / scales, is_weight.astype(float)
    ridge = np.where(is_weight, WEIGHT_RIDGE, RIDGE)

    def cost(weight: Doubles) -> tuple[float, Doubles]:
        scores = standard @ weight
        shares = np.exp(scores - np.maximum.reduceat(scores, starts)[song_of])
        total, good = np.add.reduceat(shares, starts), np.add.reduceat(shares * right, starts) + 1e-12
        pull = shares / total[song_of] - shares * right / good[song_of]
        off = weight - usual
        return float(-np.log(good / total).sum() + 0.5 * (ridge * off**2).sum()), standard.T @ pull + ridge * off

    found = minimize(cost, usual, jac=True, method="L-BFGS-B", options={"maxiter": 400})
    return LinearModel(found.x / scales, 0.0)


def examples(data: Path) -> Iterator[Example]:
    version = _version()
    for seed in chain(*FITTED, *TAUGHT):
        for song in known_songs([seed], data):
            if (example := example_of(song, data / "bars" / f"{seed:04d}-{version}.npz")) is not None:
                yield example


def _version() -> str:
    """Changes with the code of what is measured."""
    modules = (measures, odd_bars, bar_numbers, bar_readings, bars_by_form, eighth_groups)
    sources = b"".join(Path(str(module.__file__)).read_bytes() for module in modules)
    return hashlib.sha256(sources).hexdigest()[:12]


def main() -> None:
    data = Path(sys.argv[1] if len(sys.argv) > 1 else "var/bench")
    found = list(examples(data))
    taught = [song for song in found if song.right.any()]
    print(f"{len(found)} songs, {len(taught)} with a right reading")
    by_fold = [fit([song for index, song in enumerate(taught) if index % FOLDS != fold]) for fold in range(FOLDS)]
    kept_apart = [(song, by_fold[index % FOLDS]) for index, song in enumerate(taught)]
    for meter in sorted({song.meter for song in taught}):
        chosen = [pair for pair in kept_apart if pair[0].meter == meter]
        before, now = (
            sum(song.is_right(None) for song, _ in chosen),
            sum(song.is_right(model) for song, model in chosen),
        )
        print(f"{meter:5} {len(chosen):4} songs: right {before:4} as measured, {now:4} kept apart")
    for song, model in kept_apart:
        if song.is_right(None) and not song.is_right(model):
            print(f"  went wrong: {song.seed} {song.meter}")
    model = fit(taught)
    bars_by_form.WEIGHTS_PATH.write_text(json.dumps(model.to_json(NUMBERS), indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
