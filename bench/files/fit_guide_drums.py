"""Fit the weights that tell whether a file holds drums, on files whose line-up is known; report on held-out grooves.

usage: python -m bench.files.fit_guide_drums SET [SET ...] [--practice SET ...] [--font FONT.sf2 ...] [--band N]

A SET is a folder as `bench.tempo.practice_songs` writes it: audio and a manifest.jsonl (id, files, style, drums ...).
Folds keep all files of one accompaniment pattern together. Sets given with --practice are only learned from. Songs by
the project's own band are learned (--learn-band) or only tried (--band), each from its own seed. With --font, plucked,
struck and muted parts alone are learned too, of other seeds than `bench.files.drum_trial` tries. With --onto-stored the
weights in use are moved no further than new examples ask for: what they learned of other files is kept. Clicks are left
out: they are recognised by themselves, and never said to be drums.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Any

import numpy as np
from scipy.optimize import minimize

from analysis.band.render import Stem, mix_stems, render_stems
from analysis.band.score import write_score
from analysis.core.samples import Doubles, Flags
from analysis.core.thresholds import Limits
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.features.guide_drums import MOST_SPREADS, WEIGHTS, DrumModel, drum_numbers
from bench.files.drum_trial import sounds
from bench.tempo.development_set import draw_items
from bench.tempo.fit_choice import FOLDS, SHARPNESS, features_of, fold_of

BAND_RATE_HZ = 48_000
BAND_SEED, LEARNED_BAND_SEED = 103, 102
SOLOS_SEEDS = (300, 301)
FALSE_SHARES = (0.005, 0.01, 0.02, 0.05)
# Patterns without a drum part. A manifest marks what keeps its drums, and here there are none to keep.
DRUMLESS_STYLES = frozenset(
    ("Arpeggio68", "ArpeggioWaltz", "CubanGuitar", "FolkBallad", "Lullaby", "PopSpiritual", "StringBallad")
)


@dataclass(frozen=True)
class Example:
    name: str
    fold: int
    numbers: Doubles
    has_drums: bool
    weight: float


def scores_of(model: DrumModel, examples: Sequence[Example]) -> Doubles:
    rows = np.array([example.numbers for example in examples])
    scores: Doubles = standard(rows, model.means, model.scales) @ model.weights + model.constant
    return scores


def sharpened(model: DrumModel, sharpness: float) -> DrumModel:
    """The sharpness that makes probabilities honest goes into the weights."""
    return replace(model, weights=model.weights * sharpness, constant=model.constant * sharpness)


def standard(rows: Doubles, means: Doubles, scales: Doubles) -> Doubles:
    return np.clip((rows - means) / scales, -MOST_SPREADS, MOST_SPREADS)


def examples(folders: Sequence[Path], weight: float) -> list[Example]:
    """Every file of the sets. A recording that stands in several sets counts once."""
    seen: set[str] = set()
    found: list[Example] = []
    for folder in folders:
        for line in (folder / "manifest.jsonl").read_text().splitlines():
            item = json.loads(line)
            if item["cat"] == "click" or (item["cat"] == "real" and item["id"] in seen):
                continue
            seen.add(item["id"])
            found += _examples(folder, item, weight)
    return found


def _examples(folder: Path, item: dict[str, Any], weight: float) -> Iterator[Example]:
    for name in item["files"]:
        numbers = None if name == item.get("click_file") else drum_numbers(features_of(folder, name))
        if numbers is not None:
            yield Example(name, fold_of(item), numbers, has_drums(item, PurePath(name).stem), weight)


def solo_examples(fonts: Sequence[Path], each: int) -> list[Example]:
    """Learned in full: what they teach is not in the sets."""
    found = (sound for seed in SOLOS_SEEDS for sound in sounds(fonts, seed, each))
    return [Example(sound.group, 0, sound.numbers, sound.has_drums, 1.0) for sound in found]


def band_examples(songs: int, seed: int = BAND_SEED) -> list[Example]:
    """Every stem by itself, the mix, and where there are drums the mix without them.

    Every other song is played to the grid: what starts at one instant on all instruments may look like drums.
    """
    found: list[Example] = []
    for number, item in enumerate(draw_items(seed, songs)):
        plan = replace(item.plan, looseness_s=0.0) if number % 2 else item.plan
        stems = render_stems(write_score(plan), BAND_RATE_HZ)
        stems.pop("click", None)
        pitched = {name: stem for name, stem in stems.items() if name != "drums"}
        sounds = stems | {"mix": mix_stems(stems), "mix without drums": mix_stems(pitched)}
        for name, sound in sounds.items():
            numbers = drum_numbers(_heard(sound))
            if numbers is not None:
                with_drums = name == "drums" or (name == "mix" and "drums" in stems)
                found.append(Example(f"{item.name} {name}", 0, numbers, with_drums, 1.0))
    return found


def _heard(sound: Stem) -> Features:
    music = MusicFeatures(BAND_RATE_HZ, sound.shape[1])
    music.add(sound)
    return music.finish()


def has_drums(item: dict[str, Any], stem: str) -> bool:
    """Of a file of an item: stems are named for their instrument, a mix holds what the item holds."""
    if len(item["files"]) > 1 and stem != "song":
        return stem == "drums"
    if "guitar" in stem or item["style"] in DRUMLESS_STYLES:
        return False
    return bool(item["drums"])


def fit(taught: Sequence[Example], ridge: float, start: DrumModel | None = None) -> DrumModel:
    """`ridge` holds the weights near nothing, or near those to start from."""
    rows = np.array([example.numbers for example in taught])
    means, scales = (start.means, start.scales) if start else (rows.mean(axis=0), rows.std(axis=0) + 1e-9)
    rows = standard(rows, means, scales)
    begin = np.append(start.weights, start.constant) if start else np.zeros(rows.shape[1] + 1)
    truth = np.array([float(example.has_drums) for example in taught])
    shares = np.array([example.weight for example in taught])

    def loss(point: Doubles) -> tuple[float, Doubles]:
        moved, scores = (point - begin)[:-1], rows @ point[:-1] + point[-1]
        wrong = shares * (1.0 / (1.0 + np.exp(-scores)) - truth)
        total = shares @ (np.logaddexp(0.0, scores) - truth * scores) + 0.5 * ridge * moved @ moved
        return float(total), np.append(rows.T @ wrong + ridge * moved, wrong.sum())

    found = minimize(loss, begin, jac=True, method="L-BFGS-B", options={"maxiter": 500}).x
    return DrumModel(means, scales, found[:-1], float(found[-1]))


def held_out(
    songs: Sequence[Example], practice: Sequence[Example], ridge: float, start: DrumModel | None = None
) -> tuple[Doubles, Flags]:
    """Scores from weights that were fitted without the song's pattern, and the truth."""
    scores, truth = [], []
    for fold in range(FOLDS):
        tested = [song for song in songs if song.fold == fold]
        if tested:
            model = fit([*(song for song in songs if song.fold != fold), *practice], ridge, start)
            scores.append(scores_of(model, tested))
            truth += [song.has_drums for song in tested]
    return np.concatenate(scores), np.array(truth)


def best_sharpness(scores: Doubles, truth: Flags) -> float:
    losses = [float(np.mean(np.logaddexp(0.0, np.where(truth, -1, 1) * scores * sharp))) for sharp in SHARPNESS]
    return float(SHARPNESS[int(np.argmin(losses))])


def report_curve(scores: Doubles, truth: Flags) -> None:
    """How many are found at each share of false ones."""
    with_drums, without = np.sort(scores[truth]), np.sort(scores[~truth])
    area = np.searchsorted(without, with_drums).mean() / len(without)
    print(f"{len(with_drums)} files with drums, {len(without)} without; area under the curve {area:.3f}")
    for share in FALSE_SHARES:
        bar = without[-1 - int(share * len(without))]
        print(f"  at {share:.1%} false: {np.mean(with_drums > bar):.1%} found")


def report_answers(scores: Doubles, truth: Flags, sure: float) -> None:
    """What is said at the threshold in use."""
    says = 1.0 / (1.0 + np.exp(-scores))
    yes, no = says >= sure, says <= 1.0 - sure
    print(f"  said at {sure:.0%} sure:")
    print(f"    drums in {_share(yes, truth)} that have them, in {_share(yes, ~truth)} that have none")
    print(f"    none in {_share(no, ~truth)} that have none, in {_share(no, truth)} that have them")
    print("    of the rest: can't tell")


def _share(said: Flags, of: Flags) -> str:
    return f"{np.count_nonzero(said & of)} of {np.count_nonzero(of)} ({np.mean(said[of]):.1%})"


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("sets", type=Path, nargs="+")
    parser.add_argument("--practice", type=Path, nargs="*", default=[])
    parser.add_argument("--font", type=Path, action="append", default=[], help="sound fonts to learn parts alone from")
    parser.add_argument("--each", type=int, default=9, help="parts alone of every kind and seed")
    parser.add_argument("--band", type=int, default=0, help="songs by the project's own band to try it on")
    parser.add_argument("--learn-band", type=int, default=0, help="songs by that band to learn from")
    parser.add_argument("--practice-weight", type=float, default=0.3)
    parser.add_argument("--ridge", type=float, default=2.0)
    parser.add_argument("--onto-stored", action="store_true", help="start from the weights in use")
    parser.add_argument("--out", type=Path, default=WEIGHTS)
    options = parser.parse_args()
    songs, practice = examples(options.sets, 1.0), examples(options.practice, options.practice_weight)
    if options.font:
        practice += solo_examples(options.font, options.each)
    practice += band_examples(options.learn_band, LEARNED_BAND_SEED)
    print(f"{len(songs)} files in {FOLDS} folds by pattern, {len(practice)} more to learn from")
    start = DrumModel.load(WEIGHTS) if options.onto_stored else None
    scores, truth = held_out(songs, practice, options.ridge, start)
    sharpness, sure = 1.0 if start else best_sharpness(scores, truth), Limits().drums_sure
    print("held out: ", end="")
    report_curve(scores, truth)
    report_answers(scores * sharpness, truth, sure)
    model = fit([*songs, *practice], options.ridge, start)
    if options.band:
        tried = band_examples(options.band)
        print("songs by the band, of another seed: ", end="")
        truth = np.array([example.has_drums for example in tried])
        report_curve(scores_of(model, tried), truth)
        report_answers(scores_of(model, tried) * sharpness, truth, sure)
    sharpened(model, sharpness).save(options.out)


if __name__ == "__main__":
    main()
