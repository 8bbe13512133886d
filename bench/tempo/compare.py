"""How often tempo, beats, meter and bar one are right, beside general libraries on the same songs in the same run."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

from bench.tempo.answers import Answer, ask
from bench.tempo.known import Known, read_set
from bench.tempo.own_songs import make_set
from bench.tempo.readers import TOOLS
from bench.tempo.scores import score
from bench.tempo.tables import Results, Scored, print_calibration, print_comparison, print_ours
from bench.tempo.why import what_is_wrong

KITPOST = "kitpost"


def run(options: argparse.Namespace) -> None:
    """Over the folders given; without any, over songs by the project's own band."""
    own = options.data / f"songs-{options.seed}-{options.songs}"
    for folder in options.folders or [make_set(own, options.seed, options.songs)]:
        compare(folder, options)


def compare(folder: Path, options: argparse.Namespace) -> None:
    songs = read_set(folder)
    tools = [KITPOST, *_those_here(options.beside)]
    print(f"\nTempo, bars and bar one: {len(songs)} songs in {folder.name}, {datetime.now(UTC):%Y-%m-%d}")
    kept_under = options.data / "answers" / "_".join(folder.resolve().parts[-2:])
    results = {tool: _scored(songs, ask(tool, songs, kept_under, options.folds)) for tool in tools}
    for tool, scored in results.items():
        kept = sum(one.answer.is_kept for one in scored)
        print(f"  {tool} {TOOLS[tool].version()}" + (f": {kept} answers kept from an earlier run" if kept else ""))
    if options.folds:
        print("  each song is read with weights fitted without the pattern that it plays")
    print_comparison(results)
    print_ours(results[KITPOST])
    print_calibration(results[KITPOST])
    if options.failures:
        print_failures(results)


def _those_here(beside: str) -> list[str]:
    here = []
    for name in filter(None, beside.split(",")):
        if name not in TOOLS:
            raise SystemExit(f"no such tool: {name}; there are {', '.join(TOOLS)}")
        if TOOLS[name].version() is None:
            print(f"  {name} is not here and is left out. To have it: {TOOLS[name].how_to_get}")
        elif name != KITPOST:
            here.append(name)
    return here


def _scored(songs: list[Known], answers: list[Answer]) -> list[Scored]:
    return [
        Scored(song, answer, score(song, answer.reading) | {"xRT": song.duration_s / max(answer.cpu_s, 0.001)})
        for song, answer in zip(songs, answers, strict=True)
    ]


def print_failures(results: Results) -> None:
    """Each song with a fault and why: confidence first, for a fault that was said to be sure is the worst."""
    wrong = [
        (one, why) for one in results[KITPOST] if (why := what_is_wrong(one.known, one.answer.reading, one.scores))
    ]
    print(f"\n  Failures: {len(wrong)} of {len(results[KITPOST])} songs have a fault")
    for one, why in sorted(wrong, key=lambda pair: (pair[0].known.category, pair[0].known.name)):
        about = f"{one.known.category}, {one.known.bpm:g}, {one.known.meter or 'meter not known'}, {one.known.kind}"
        sure = f"confidence {one.answer.reading.confidence or 0:.2f}"
        print(f"  {one.known.name} ({about}; {sure}): {'; '.join(why)}")
