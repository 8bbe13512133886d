"""Fit the odds that a bar begins on a beat: python -m bench.form.fit_lines DATA [--practice SET ...].

Learns from songs of `TAUGHT_WHOLE` and `TAUGHT_IN_PART`, none of which is in the set that is reported, and from
practice songs (`bench.tempo.practice_songs`), on their true beats. Writes `analysis/bars/line_weights.json`.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.bars.beat_table import BeatTable, beat_table, prepare
from analysis.bars.line_odds import BEATS_KNOWN, PATH, line_numbers, number_names
from analysis.core.samples import Doubles, Flags
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.maps.tempo_map import MeterSign
from analysis.tempo.evidence import pool
from analysis.tempo.phase import refine_phase
from analysis.tempo.tempo_changes import find_motion
from bench.form.arrangements import Arrangement, arrange
from bench.form.fit_form import fit_linear
from bench.form.render import RATE_HZ, render
from bench.form.songs import truth_of
from bench.tempo.fit_choice import features_of

TAUGHT_WHOLE, TAUGHT_IN_PART = range(10), range(100, 171)
# The part of a song that is taught: the sections up to this bar (house choice).
PART_BARS = 28
RIDGE = 10.0
# Bars at the end of a song that are no rule for the others: they slow down or ring.
LAST_BARS = 3
# A bar line is on its beat within this.
ON_LINE_S = 0.12


def taught_songs() -> Iterator[Arrangement]:
    """Some whole songs; of others the first part, all in three or in six and every fourth in four."""
    yield from map(arrange, TAUGHT_WHOLE)
    for seed in TAUGHT_IN_PART:
        song = arrange(seed)
        if song.meter.sign != "4/4" or seed % 4 == 0:
            yield first_part(song)


def first_part(song: Arrangement) -> Arrangement:
    """The sections up to bar `PART_BARS`, as a song of its own without an ending."""
    ends = np.cumsum([section.bars for section in song.sections])
    kept = int(np.searchsorted(ends, PART_BARS)) + 1
    if kept >= len(song.sections):
        return song
    bars = tuple(bar for bar in song.bars if bar.section < kept)
    return replace(song, sections=song.sections[:kept], bars=bars, ending="none")


def heard(song: Arrangement, data: Path) -> tuple[dict[str, Any], list[Features]]:
    """What is true of a song, and its files' features, kept under `data`."""
    home = data / "taught" / f"song-{song.seed:04d}"
    if not (home / "truth.json").is_file():
        home.mkdir(parents=True, exist_ok=True)
        for player, samples in render(song).items():
            music = MusicFeatures(RATE_HZ, 1)
            for start in range(0, len(samples), 4 * RATE_HZ):
                music.add(np.asarray(samples[start : start + 4 * RATE_HZ], np.float32)[:, None])
            music.finish().save(home / f"{player}.npz")
        (home / "truth.json").write_text(json.dumps(truth_of(song)), "utf-8")
    truth = json.loads((home / "truth.json").read_text("utf-8"))
    return truth, [Features.load(path) for path in sorted(home.glob("*.npz"))]


def felt_beats(truth: dict[str, Any]) -> tuple[Doubles, Doubles]:
    """Felt beats and bar lines of a song, without its last bars where those are not steady."""
    lines, in_threes = np.array(truth["downbeats_s"]), MeterSign.parse(truth["meter"]).is_compound
    # 3/8 among 6/8 is one felt beat.
    counts = [MeterSign.parse(sign).upper // (3 if in_threes else 1) for sign in truth["meters"]]
    rows = [np.linspace(lines[bar], lines[bar + 1], count, endpoint=False) for bar, count in enumerate(counts)]
    if truth["ending"]["kind"] in ("ritardando", "held", "hit"):
        rows, lines = rows[:-LAST_BARS], lines[:-LAST_BARS]
    return np.concatenate([*rows, lines[-1:]]), lines


def practice_items(folder: Path) -> Iterator[tuple[dict[str, Any], list[Features]]]:
    for line in (folder / "manifest.jsonl").read_text("utf-8").splitlines():
        item = json.loads(line)
        if item["kind"] in ("const", "drift"):
            yield item, [features_of(folder, name) for name in item["files"]]


def line_rows(files: Sequence[Features], beats_s: Doubles, lines_s: Doubles, count: int) -> tuple[Doubles, Flags]:
    """The numbers of each beat between the first and the last bar line, and whether a bar begins there."""
    music = pool(files)
    assert music is not None
    if clock := find_motion(music).clock:
        music, beats_s, lines_s = music.warped(clock.to_even), clock.to_even(beats_s), clock.to_even(lines_s)
    period_s = float(np.polyfit(np.arange(len(beats_s)), beats_s, 1)[0])
    beat_s = refine_phase(music, period_s, float(beats_s[len(beats_s) // 2]))
    table = beat_table(prepare(music), period_s, beat_s)
    assert table is not None
    inside = (table.beat_s > lines_s[0] - 0.2) & (table.beat_s < lines_s[-2] + 0.2)
    return line_numbers(table, count)[inside], _begins(table, lines_s)[inside]


def _begins(table: BeatTable, lines_s: Doubles) -> Flags:
    apart = np.abs(table.beat_s[:, None] - lines_s[None, :-1])
    found = np.zeros(len(table.beat_s), np.bool_)
    found[apart.argmin(axis=0)[apart.min(axis=0) < ON_LINE_S]] = True
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("data", type=Path)
    parser.add_argument("--practice", type=Path, nargs="*", default=[])
    options = parser.parse_args()
    known: dict[int, list[tuple[Doubles, Flags]]] = {beats: [] for beats in BEATS_KNOWN}
    for song in taught_songs():
        truth, files = heard(song, options.data)
        count = MeterSign.parse(truth["meter"]).beats_per_bar
        known[count].append(line_rows(files, *felt_beats(truth), count))
    for folder in options.practice:
        for item, files in practice_items(folder):
            if (count := MeterSign.parse(item["meter"]).beats_per_bar) in known:
                times = np.array(item["beats"]), np.array(item["downbeats"])
                known[count].append(line_rows(files, *times, count))
    models = {}
    for beats, songs in known.items():
        numbers, begins = (np.concatenate(column) for column in zip(*songs, strict=True))
        models[str(beats)] = fit_linear(numbers, begins, RIDGE).to_json(number_names(beats))
        print(f"bars of {beats} beats: {len(songs)} songs, {len(begins)} beats")
    PATH.write_text(json.dumps(models, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
