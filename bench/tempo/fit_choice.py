"""Fit the weights of the readings' evidence on songs whose truth is known; report on songs that were held out.

usage: python -m bench.tempo.fit_choice SET [SET ...] [--practice SET ...] [--out analysis/bars/choice_weights.json]

A SET is a folder with audio and a manifest.jsonl (id, files, style, meter, bpm, kind, beats, downbeats ...). Folds keep
all songs over one accompaniment pattern (`style`) together, so that what is reported is about patterns never seen. Sets
given with --practice are only learned from.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
from numpy.typing import NDArray
from scipy.optimize import minimize

from analysis.bars.beat_table import prepare
from analysis.bars.readings import COLUMNS, Reading, readings_of
from analysis.bars.weighing import WEIGHTS_PATH, Weights
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.tempo.evidence import Evidence, pool
from analysis.tempo.grid import fit_grid
from analysis.tempo.pulse import candidate_beats_hz, onset_curve, spectrum_of
from analysis.tempo.tempo_changes import find_motion

FOLDS = 5
SAME_PERIOD, SAME_BEAT_S, SAME_BAR_S = 0.004, 0.055, 0.06
# A song whose clock was followed worse than this teaches nothing about its bars.
CLOCK_ERROR_S = 0.03
SLOW_END_BEATS, SLOW_END_BARS = 10, 3
GROUPED_BY_SONG = ("hard", "rock")
SHARPNESS = np.arange(0.7, 2.0, 0.05)


def _named(*starts: str) -> list[str]:
    """The columns whose names begin so, those that come again for another meter included."""
    return [name for name in COLUMNS if name.rsplit(" ", 1)[-1].startswith(starts)]


# Columns of a reading's evidence, by what they look at. Left out one kind at a time by --ablate.
_HARMONY_AT_BARS = [name for name in _named("bar.") if name.endswith((".harmony_change", ".bass_change"))]
GROUPS: dict[str, list[str]] = {
    "attacks within the beat": _named("attacks."),
    "bass notes within the beat": _named("bass."),
    "band strength within the beat": _named("strength."),
    "harmony within the beat": _named("change."),
    "tempo and bar length": _named("tempo.", "length."),
    "fit to halves and thirds": _named("fit.", "grid."),
    "attacks on even pulses of the beat": _named("pulses."),
    "change of harmony and bass at bar lines": _HARMONY_AT_BARS,
    "strength and attacks at bar lines": [name for name in _named("bar.") if name not in _HARMONY_AT_BARS],
    "one harmony within bars": _named("within."),
    "repetition": _named("repeats."),
    "first and last sound": _named("ends."),
    "groups of uneven bars": _named("groups."),
    "what weighs differently by meter": [name for name in COLUMNS if " " in name],
}

Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Example:
    """One song: its evidence rows, which of its readings are right, and what it counts."""

    item: dict[str, Any]
    readings: list[Reading]
    rows: Doubles
    right: NDArray[np.bool_]
    period_s: float
    weight: float

    @property
    def fold(self) -> int:
        return fold_of(self.item)


def fold_of(item: dict[str, Any]) -> int:
    group = item["group"] if item["style"] in GROUPED_BY_SONG else item["style"]
    return int(hashlib.sha256(group.encode()).hexdigest(), 16) % FOLDS


def examples(folders: Sequence[Path], weight: float) -> list[Example]:
    """All songs of the sets; a recording that stands in several counts once."""
    found: list[Example] = []
    for folder in folders:
        recorded = {example.item["id"] for example in found if example.item["cat"] == "real"}
        found += [example for example in _examples(folder, weight) if example.item["id"] not in recorded]
    return found


def _examples(folder: Path, weight: float) -> Iterator[Example]:
    for item in items_of(folder):
        music = pool(music_of(folder, item))
        if music is not None and (example := example_of(item, music, weight)):
            yield example


def items_of(folder: Path) -> Iterator[dict[str, Any]]:
    """What the manifest says of each song whose bars are known."""
    for item in map(json.loads, (folder / "manifest.jsonl").read_text().splitlines()):
        if item["cat"] not in ("click", "neg") and item.get("downbeats") is not None:
            yield item


def music_of(folder: Path, item: dict[str, Any]) -> list[Features]:
    """All but the song's click."""
    return [features_of(folder, name) for name in item["files"] if name != item.get("click_file")]


def features_of(folder: Path, name: str) -> Features:
    """Features of one file, kept beside the set."""
    kept = folder / "features" / f"{name.replace('/', '__')}.npz"
    if kept.exists():
        return Features.load(kept)
    kept.parent.mkdir(exist_ok=True)
    with sf.SoundFile(folder / name) as sound:
        music = MusicFeatures(sound.samplerate, sound.channels)
        for block in sound.blocks(4 * sound.samplerate, dtype="float32", always_2d=True):
            music.add(block)
    features = music.finish()
    features.save(kept)
    return features


def example_of(item: dict[str, Any], music: Evidence, weight: float) -> Example | None:
    """A song's readings; None where its clock was followed badly or no reading is right."""
    clock = find_motion(music).clock
    beats, downbeats = np.array(item["beats"]), np.array(item["downbeats"])
    if item["kind"] == "rit":
        beats, downbeats = beats[:-SLOW_END_BEATS], downbeats[:-SLOW_END_BARS]
    if clock:
        music, beats, downbeats = music.warped(clock.to_even), clock.to_even(beats), clock.to_even(downbeats)
    count = np.arange(len(beats))[len(beats) // 3 :]
    line = np.polyfit(count, beats[count], 1)
    if np.sqrt(((np.polyval(line, count) - beats[count]) ** 2).mean()) > CLOCK_ERROR_S:
        return None
    hz = candidate_beats_hz(spectrum_of(onset_curve(music)))
    fits = [fit for fit in (fit_grid(music, 1 / beat) for beat in hz) if fit]
    readings, rows = readings_of(prepare(music), fits)
    period_s = float(line[0])
    right = np.array([_is_right(reading, item["meter"], beats, downbeats, period_s) for reading in readings])
    return Example(item, readings, rows, right, period_s, weight) if right.any() else None


def _is_right(reading: Reading, meter: str, beats: Doubles, downbeats: Doubles, period_s: float) -> bool:
    middle = beats[len(beats) // 2]
    bar = downbeats[np.abs(downbeats - middle).argmin()]
    if reading.meter.sign != meter or abs(reading.period_s / period_s - 1) > SAME_PERIOD:
        return False
    bar_s = reading.period_s * reading.meter.beats
    off_beat = _folded(reading.beat_s - middle, reading.period_s)
    return off_beat < SAME_BEAT_S and _folded(reading.bar_s - bar, bar_s) < SAME_BAR_S + SAME_PERIOD * abs(
        reading.bar_s - bar
    )


def _folded(apart: float, period: float) -> float:
    return float(abs((apart / period + 0.5) % 1 - 0.5) * period)


def fit(songs: Sequence[Example], ridge: float) -> Weights:
    """Weights under which the right readings get the most probability, kept small by a ridge."""
    rows = np.concatenate([song.rows.astype(np.float32) for song in songs])  # half the memory, twice as fast
    mean, spread = rows.mean(axis=0, dtype=np.float64), rows.std(axis=0, dtype=np.float64) + 1e-6
    blank = Weights(mean, spread, np.zeros(rows.shape[1]))
    standard = blank.standard(rows).astype(np.float32)
    right = np.concatenate([song.right for song in songs])
    counts = np.array([len(song.right) for song in songs])
    starts, song_of = np.concatenate([[0], np.cumsum(counts)[:-1]]), np.repeat(np.arange(len(songs)), counts)
    weights = np.array([song.weight for song in songs])

    def cost(weight: Doubles) -> tuple[float, Doubles]:
        scores = (standard @ weight.astype(np.float32)).astype(np.float64)
        shares = np.exp(scores - np.maximum.reduceat(scores, starts)[song_of])
        total, good = np.add.reduceat(shares, starts), np.add.reduceat(shares * right, starts) + 1e-12
        pull = (shares / total[song_of] - shares * right / good[song_of]) * weights[song_of]
        loss = -(weights * np.log(good / total)).sum() + 0.5 * ridge * weight @ weight
        return float(loss), standard.T @ pull.astype(np.float32) + ridge * weight

    found = minimize(cost, np.zeros(rows.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 400})
    return Weights(blank.mean, blank.spread, found.x)


def held_out(
    songs: Sequence[Example], practice: Sequence[Example], ridge: float
) -> tuple[list[tuple[Example, Doubles]], list[Weights]]:
    """Each song with the scores it gets from weights fitted without its pattern; and those weights by fold."""
    scored: list[tuple[Example, Doubles]] = []
    by_fold: list[Weights] = []
    for fold in range(FOLDS):
        weights = fit([song for song in songs if song.fold != fold] + list(practice), ridge)
        scored += [(song, weights.standard(song.rows) @ weights.weight) for song in songs if song.fold == fold]
        by_fold.append(weights)
    return scored, by_fold


def shares_of(scores: Doubles, sharpness: float) -> Doubles:
    shares: Doubles = np.exp(sharpness * (scores - scores.max()))
    total: Doubles = shares / shares.sum()
    return total


def best_sharpness(scored: Sequence[tuple[Example, Doubles]]) -> float:
    """The sharpness at which held-out probabilities are most honest (least log loss)."""
    losses = [
        -np.mean([np.log(shares_of(scores, sharp)[song.right].sum() + 1e-9) for song, scores in scored])
        for sharp in SHARPNESS
    ]
    return float(SHARPNESS[int(np.argmin(losses))])


def report(scored: Sequence[tuple[Example, Doubles]], sharpness: float) -> None:
    """Shares that are right on held-out patterns, how honest the confidence is, and every song that is wrong."""
    bins: dict[int, list[bool]] = {}
    right: dict[str, list[tuple[bool, bool]]] = {}
    for song, scores in scored:
        shares = shares_of(scores, sharpness)
        top = int(np.argmax(shares))
        level = abs(song.readings[top].period_s / song.period_s - 1) < SAME_PERIOD
        kind = "drums" if song.item["drums"] else "no drums"
        right.setdefault(kind, []).append((bool(song.right[top]), level))
        best = song.readings[top]
        same_bars = [share for share, other in zip(shares, song.readings, strict=True) if _agrees(other, best)]
        bins.setdefault(min(9, int(10 * sum(same_bars))), []).append(bool(song.right[top]))
        if not song.right[top]:
            reading = song.readings[top]
            print(
                f"  wrong: {song.item['id']} {song.item['style']} {song.item['meter']} {60 / song.period_s:.2f}"
                f" read as {reading.meter.sign} {reading.bpm:.2f}, {shares[top]:.0%} sure"
            )
    for kind, rows in sorted(right.items()):
        joint, level = np.mean(rows, axis=0)
        print(f"{kind:9} {len(rows):4} songs: bars right {joint:.3f}, level right {level:.3f}")
    for bin_, rows_right in sorted(bins.items()):
        print(f"confidence {bin_ / 10:.1f} and up: {len(rows_right):4} songs, right {np.mean(rows_right):.2f}")


def _agrees(one: Reading, two: Reading) -> bool:
    bar_s = two.period_s * two.meter.beats
    same_tempo = one.meter == two.meter and abs(one.period_s / two.period_s - 1) < SAME_PERIOD
    return same_tempo and _folded(one.bar_s - two.bar_s, bar_s) < 0.07


def ablate(songs: Sequence[Example], practice: Sequence[Example], ridge: float) -> None:
    """What each kind of evidence is worth: held-out bars right and log loss without it."""
    for name, columns in {"nothing": [], **GROUPS}.items():
        scored, _ = held_out(_without(songs, columns), _without(practice, columns), ridge)
        right = np.mean([bool(song.right[np.argmax(scores)]) for song, scores in scored])
        loss = -np.mean([np.log(shares_of(scores, 1.0)[song.right].sum() + 1e-9) for song, scores in scored])
        print(f"without {name:42} bars right {right:.3f}, log loss {loss:.3f}", flush=True)


def _without(songs: Sequence[Example], columns: list[str]) -> list[Example]:
    kept = np.array([name not in columns for name in COLUMNS], np.float64)
    return [replace(song, rows=song.rows * kept) for song in songs]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("sets", type=Path, nargs="+")
    parser.add_argument("--practice", type=Path, nargs="*", default=[])
    parser.add_argument("--practice-weight", type=float, default=0.3)
    parser.add_argument("--ridge", type=float, default=20.0)
    parser.add_argument("--ablate", action="store_true", help="only print what each kind of evidence is worth")
    parser.add_argument("--folds-out", type=Path, help="also keep the weights of each fold, by which it was not taught")
    parser.add_argument("--out", type=Path, default=WEIGHTS_PATH)
    options = parser.parse_args()
    songs, practice = examples(options.sets, 1.0), examples(options.practice, options.practice_weight)
    print(f"{len(songs)} songs in {FOLDS} folds by pattern, {len(practice)} practice songs")
    if options.ablate:
        ablate(songs, practice, options.ridge)
        return
    scored, by_fold = held_out(songs, practice, options.ridge)
    sharpness = best_sharpness(scored)
    report(scored, sharpness)
    for fold, weights in enumerate(by_fold if options.folds_out else []):
        store(weights, sharpness, options.folds_out / f"fold{fold}.json")
    store(fit([*songs, *practice], options.ridge), sharpness, options.out)


def store(weights: Weights, sharpness: float, path: Path) -> None:
    columns = {"mean": weights.mean, "spread": weights.spread, "weight": weights.weight}
    stored = {
        name: {column: round(float(value), 6) for column, value in zip(COLUMNS, values, strict=True)}
        for name, values in columns.items()
    }
    path.write_text(json.dumps(stored | {"sharpness": round(sharpness, 3)}, indent=0) + "\n")


if __name__ == "__main__":
    main()
