"""How often tempo, beats, meter and bar one are right, on songs by our own band, beside librosa in the same run."""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
import soundfile

from analysis.band.render import Stem, mix_stems, render_stems, write_wav
from analysis.band.score import write_score
from analysis.band.truth import Truth
from bench.scores import Reading, reading_of, score
from bench.tempo_set import Item, draw_items

COLUMNS = (
    "n", "<.02", ".02lvl", "4%", "4%lvl", "listed", "kind", "F70", "F20", "barF", "bar1", "bar1'", "meter", "sure",
    "right", "inside", "xRT",
)  # fmt: skip
LEGEND = """\
  <.02: right level within 0.02 BPM; .02lvl: at that, 2, 3, 1/2 or 1/3 of it; 4%, 4%lvl: the same within 4 %; listed:
  within 1 % among answer and four alternatives; F70, F20, barF: beats at 70 and 20 ms, bar lines at 70 ms; bar1, bar1':
  bar one within 70 and 10 ms; sure: all confidences >= .95; right: of those, bar lines right; inside: truth in the
  stated interval where <.02; xRT: seconds of music a CPU second"""
SAMPLE_RATES_HZ = (44_100, 48_000)
Row = dict[str, float]


def run(options: argparse.Namespace) -> None:
    ours: dict[str, list[Row]] = defaultdict(list)
    theirs: dict[str, list[Row]] = defaultdict(list)
    wrong = []
    for number, item in enumerate(draw_items(options.seed, options.songs)):
        truth, paths = _render(item, options.data / "tempo", SAMPLE_RATES_HZ[number % 2])
        row = _timed_row(truth, paths, read_ours)
        ours[item.category].append(row)
        theirs[item.category].append(_timed_row(truth, paths, read_librosa))
        wrong += _what_is_wrong(item, truth, row)
        for path in paths:
            path.unlink()
    print(f"\nTempo: {options.songs} songs by the band, seed {options.seed}")
    print(LEGEND)
    print_table("kitpost", ours)
    print_table("librosa", theirs)
    if options.items:
        print("\n".join(wrong) or "nothing wrong")


def _render(item: Item, folder: Path, rate: int) -> tuple[Truth, list[Path]]:
    written = write_score(item.plan)
    stems: dict[str, Stem] = render_stems(written, rate)
    sounds = {"mix": mix_stems(stems)} if item.sent == "mix" else stems
    paths = [write_wav(folder / f"{item.name}_{name}.wav", sound, rate) for name, sound in sounds.items()]
    return written.truth, paths


def read_ours(paths: list[Path]) -> Reading:
    from analysis.reports import Brief
    from analysis.song import SongFile, measure_song
    from analysis.survey import survey_file

    surveys = [survey_file(path, name=f"{number}.wav") for number, path in enumerate(paths)]
    files = [SongFile(one.report, one.features, path) for one, path in zip(surveys, paths, strict=True)]
    return reading_of(measure_song(files, Brief()).song)


def read_librosa(paths: list[Path]) -> Reading:
    """The library's own way: a mix at 22 050 Hz, its default beat tracker."""
    import librosa

    mix = np.sum([librosa.load(path)[0] for path in paths], axis=0)
    bpm, beats_s = librosa.beat.beat_track(y=mix, sr=22_050, units="time")
    return Reading(bpm=float(np.atleast_1d(bpm)[0]), beats_s=tuple(float(beat) for beat in beats_s))


def _timed_row(truth: Truth, paths: list[Path], read: object) -> Row:
    assert callable(read)
    start = time.process_time()
    reading: Reading = read(paths)
    taken_s = time.process_time() - start
    seconds = sum(soundfile.info(path).duration for path in paths)
    return score(truth, reading) | {"xRT": seconds / taken_s}


def print_table(title: str, rows: dict[str, list[Row]]) -> None:
    print(f"\n  {title:<16}" + "".join(f"{name:>7}" for name in COLUMNS))
    everything = [row for group in rows.values() for row in group]
    for category, group in [*sorted(rows.items()), ("all", everything)]:
        print(f"  {category:<16}{len(group):>7}" + "".join(_cell(name, group) for name in COLUMNS[1:]))


def _cell(name: str, group: list[Row]) -> str:
    values = [row[name] for row in group if name in row]
    if not values:
        return f"{'-':>7}"
    return f"{np.median(values):>7.0f}" if name == "xRT" else f"{np.mean(values):>7.2f}"


def _what_is_wrong(item: Item, truth: Truth, row: Row) -> list[str]:
    faults = [name for name in ("<.02", "kind", "meter", "bar1") if row.get(name) == 0.0]
    faults += ["F20"] if row.get("F20", 1.0) < 0.9 else []
    if not faults:
        return []
    about = f"{item.plan.feel} {float(truth.bpm):g} {truth.meter} {truth.kind}"
    return [f"  {item.name} ({item.category}; {about}; {'+'.join(item.plan.players)}): {', '.join(faults)}"]
