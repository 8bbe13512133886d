"""Fit the weights that tell drums in a mix: python -m bench.form.fit_mix_drums [DATA].

Learned from are all songs of `FITTED` and the first of `FURTHER`, as one mix each; songs with noise at every attack,
where what is plucked comes nearest to drums; and the project's own band with its drums and without. Prints how many are
found and how many are taken wrongly, each kept apart in turn, and writes `analysis/form/mix_drums_weights.json`.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import numpy as np

from analysis.band.render import mix_stems, render_stems
from analysis.band.score import write_score
from analysis.core.samples import Doubles, Flags, Samples
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.form.bar_clock import BarClock
from analysis.form.mix_drums import LEAST_LOG_ODDS, MIX_NUMBERS, WEIGHTS, mix_numbers
from analysis.form.slots import lay_slots
from analysis.form.song_sound import hear
from analysis.maps.tempo_map import MeterSign
from bench.form.arrangements import arrange
from bench.form.fit_form import fit_linear
from bench.form.render import RATE_HZ, render
from bench.form.songs import FITTED, FURTHER, truth_of
from bench.tempo.development_set import draw_items

NOISY = range(400, 436)
NOISES = np.linspace(0.05, 0.35, len(NOISY))  # at each attack, beyond the 0 to 0.08 of the other songs' voices
BAND_SEED, BAND_SONGS = 104, 14
FOLDS, RIDGE = 10, 2.0


@dataclass(frozen=True)
class Mix:
    kind: str
    numbers: Doubles
    has_drums: bool


def mixes(data: Path) -> Iterator[Mix]:
    for seed in chain(*FITTED, FURTHER[0]):
        yield _written("as written", seed, 0.0, data, drums=seed % 2 == 0)
    for seed, noise in zip(NOISY, NOISES, strict=True):
        yield _written("noisy", seed, float(noise), data, drums=seed % 3 == 0)
    for item in draw_items(BAND_SEED, BAND_SONGS):
        score = write_score(item.plan)
        stems = render_stems(score, RATE_HZ)
        pitched = {name: stem for name, stem in stems.items() if name not in ("click", "drums")}
        clock = BarClock.even(np.array(score.truth.downbeats_s))
        yield _mix("band", heard(mix_stems(pitched)), clock, has_drums=False)
        if "drums" in stems:
            yield _mix("band", heard(mix_stems(pitched | {"drums": stems["drums"]})), clock, has_drums=True)


def _written(kind: str, seed: int, noise: float, data: Path, *, drums: bool) -> Mix:
    song = replace(arrange(seed), stems=False, drums=drums, noise=noise)
    path = data / "mixes" / f"{kind[0]}{seed:04d}.npz"
    if not path.is_file():
        path.parent.mkdir(parents=True, exist_ok=True)
        heard(render(song)["mix"][:, None]).save(path)
    truth = truth_of(song)
    signs = tuple(map(MeterSign.parse, truth["meters"]))
    clock = BarClock(np.array(truth["downbeats_s"]), signs, np.zeros(len(signs), np.bool_))
    return _mix(kind, Features.load(path), clock, has_drums=drums)


def heard(samples: Samples) -> Features:
    music = MusicFeatures(RATE_HZ, samples.shape[1])
    for start in range(0, len(samples), 4 * RATE_HZ):
        music.add(np.asarray(samples[start : start + 4 * RATE_HZ], np.float32))
    return music.finish()


def _mix(kind: str, features: Features, clock: BarClock, *, has_drums: bool) -> Mix:
    numbers = mix_numbers(next(lay_slots(clock, hear([features]))), features)
    assert numbers is not None
    return Mix(kind, numbers, has_drums)


def kept_apart(rows: Doubles, answers: Flags) -> Doubles:
    """Log odds of each mix by weights that have not seen it."""
    fold = np.random.default_rng(0).permutation(len(rows)) % FOLDS
    odds = np.zeros(len(rows))
    for number in range(FOLDS):
        odds[fold == number] = fit_linear(rows[fold != number], answers[fold != number], RIDGE).log_odds(
            rows[fold == number]
        )
    return odds


def main() -> None:
    found = list(mixes(Path(sys.argv[1] if len(sys.argv) > 1 else "var/bench")))
    rows, answers = np.stack([one.numbers for one in found]), np.array([one.has_drums for one in found])
    said = kept_apart(rows, answers) > LEAST_LOG_ODDS
    for kind in dict.fromkeys(one.kind for one in found):
        mine = np.array([one.kind == kind for one in found])
        for drums in (True, False):
            these = mine & (answers == drums)
            print(f"{kind}, {'with' if drums else 'without'} drums: said of {said[these].sum()} of {these.sum()}")
    model = fit_linear(rows, answers, RIDGE)
    WEIGHTS.write_text(json.dumps(model.to_json(MIX_NUMBERS), indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
