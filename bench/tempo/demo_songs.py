"""The demo house's own songs, each spoilt in its way: what is found in them beside what is true, and what is missed."""

from __future__ import annotations

import argparse

from analysis.band.songs import SONGS, DemoSong, RenderedSong, render_song


def run(options: argparse.Namespace) -> None:
    print(
        "\nDemo songs: truth, then what was found; then the findings that are due, + found or - missed, and all others"
    )
    for song in SONGS:
        rendered = render_song(song, options.data / "demo")
        _print_song(song, rendered)
        for path in rendered.paths:
            path.unlink()


def _print_song(song: DemoSong, rendered: RenderedSong) -> None:
    from analysis.measuring.song import SongFile, measure_song
    from analysis.measuring.survey import survey_file

    surveys = [survey_file(path) for path in rendered.paths]
    files = [SongFile(one.report, one.features, path) for one, path in zip(surveys, rendered.paths, strict=True)]
    report, truth = measure_song(files, song.brief), rendered.truth
    found = report.song
    codes = {finding.code for finding in report.findings}
    bar_one = "none" if found.bar_one.time_s is None else f"{found.bar_one.time_s:.3f} s"
    print(f"  {song.title}")
    print(f"    true  {float(truth.bpm):g} {truth.kind}, {truth.meter}, bar one {float(truth.bar_one_s):.3f} s")
    meter = f"{found.meter.beats_per_bar}/{found.meter.beat_unit}"
    print(f"    found {found.tempo.bpm} {found.tempo.kind}, {meter}, bar one {bar_one}")
    due = [("+" if code in codes else "-") + code for code in song.due]
    print("    " + " ".join([*due, *sorted(codes - set(song.due))]))
