"""`python -m bench form`: drafts on songs with known form beside two published methods, in one run.

`python -m bench.form.compare [DATA]` finds the settings of those methods on the songs that the draft is fitted on.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Self

import numpy as np

from analysis.core.chart_draft import ChartDraft
from analysis.form.bar_clock import BarClock
from analysis.form.bar_rows import BarRows, bar_rows
from analysis.form.draft import draft_chart
from analysis.form.letters import group_alike
from analysis.form.likeness import likeness
from analysis.form.sections import file_level, pair_odds
from analysis.form.weights import form_models
from analysis.measuring.bars_by_form import drafted_bars
from bench.form.baselines import BARS_A_SECTION, agglomerative, checkerboard
from bench.form.calibration import are_bars_right, hit_claims, print_calibration, section_claims
from bench.form.figures import counts_of, print_figures
from bench.form.scores import border_scores, corrections, pairwise_f
from bench.form.song_set import KnownSong, known_songs
from bench.form.songs import FITTED, HELD_OUT

Borders = Callable[[BarRows], list[int]]
_COLUMNS = "precision  recall      F   exact P       R       F   labels   <= 1 corr."


@dataclass(frozen=True)
class Drafts:
    """A song's drafts on its true bars and on measured ones, where there are any; the first took `given_s` to make."""

    song: KnownSong
    given: ChartDraft
    given_s: float
    clock: BarClock | None
    measured: ChartDraft

    @classmethod
    def of(cls, song: KnownSong) -> Self:
        start_s = time.process_time()
        given = draft_chart(song.parts, song.true_clock)
        given_s = time.process_time() - start_s
        clock = drafted_bars(song.music, [file.features for file in song.files], song.measured)
        return cls(song, given, given_s, clock, draft_chart(song.parts, clock) if clock else ChartDraft())


@dataclass(frozen=True)
class Drafted:
    """What one way found in one song: scores in the order of the columns."""

    values: tuple[float, ...]


def run(options: argparse.Namespace) -> None:
    seeds = [seed for seeds in HELD_OUT for seed in seeds][: options.form_songs]
    songs = list(known_songs(seeds, options.data))
    rows = [_rows_of(song) for song in songs]
    usual = partial(_one_for, BARS_A_SECTION)
    print(f"Form: {len(songs)} songs that no weight was fitted on. Borders within one bar, then exact; given bars")
    print(f"{'':44} {_COLUMNS}")
    _print("librosa, one section for 7 bars", [_plain(*pair, usual) for pair in zip(songs, rows, strict=True)])
    _print("librosa, told the number", [_plain(song, row, _told(song)) for song, row in zip(songs, rows, strict=True)])
    _print("checkerboard novelty", [_plain(*pair, checkerboard) for pair in zip(songs, rows, strict=True)])
    drafts = [Drafts.of(song) for song in songs]
    given = [_given(one) for one in drafts]
    measured = [_measured(one) for one in drafts]
    _print("draft", given)
    _print("draft on measured bars", measured)
    for name, wanted in _GROUPS.items():
        chosen = [index for index, song in enumerate(songs) if wanted(song)]
        _print(f"draft, {name} ({len(chosen)})", [given[index] for index in chosen])
    _print_bars(drafts)
    _print_figures(drafts)
    _print_cost(drafts)


_GROUPS: dict[str, Callable[[KnownSong], bool]] = {
    "stems": lambda song: song.truth["stems"],
    "one mix": lambda song: not song.truth["stems"],
    "with drums": lambda song: song.truth["drums"],
    "without drums": lambda song: not song.truth["drums"],
    "sections that differ little": lambda song: song.seed in HELD_OUT[1],
}


def _print(name: str, found: Sequence[Drafted]) -> None:
    mean = np.mean([one.values for one in found], axis=0)
    cells = "".join(f"{value:8.2f}" for value in mean[:6])
    print(f"{name:44}{cells}{mean[6]:9.2f}{mean[7]:12.2f}")


def _rows_of(song: KnownSong) -> BarRows:
    features = [file.features for file in song.files]
    return bar_rows(song.music, [file_level(one) for one in features], song.true_clock)


def _one_for(bars: float, rows: BarRows) -> list[int]:
    return agglomerative(rows, sections=round(rows.bars / bars))


def _told(song: KnownSong) -> Borders:
    return lambda rows: agglomerative(rows, sections=len(song.truth["sections"]))


def _plain(song: KnownSong, rows: BarRows, way: Borders) -> Drafted:
    """Borders of another way; its sections get letters by our rule, so that labels can be compared too."""
    borders = way(rows)
    edges = [0, *borders, rows.bars]
    sections = [range(start, end) for start, end in pairwise(edges)]
    groups = group_alike(pair_odds(form_models().pairs, likeness(rows), sections))
    labels = [str(group) for section, group in zip(sections, groups, strict=True) for _ in section]
    return _scored(song, borders, labels)


def _scored(song: KnownSong, borders: Sequence[int], labels: Sequence[str]) -> Drafted:
    near, exact = (border_scores(borders, song.borders, within=within) for within in (1, 0))
    few = corrections(borders, song.borders) <= 1
    values = (near.precision, near.recall, near.f, exact.precision, exact.recall, exact.f)
    return Drafted((*values, pairwise_f(labels, song.labels), float(few)))


def _given(drafts: Drafts) -> Drafted:
    draft = drafts.given
    labels = [section.label for section in draft.sections for _ in range(section.bars)]
    return _scored(drafts.song, [section.start_bar - 1 for section in draft.sections[1:]], labels)


def _measured(drafts: Drafts) -> Drafted:
    """Borders at the true bar lines nearest to where the draft has them, labels at the middle of each true bar."""
    song, draft = drafts.song, drafts.measured
    if not draft.sections:
        return _scored(song, [], ["A"] * len(song.labels))
    lines = np.array(song.truth["downbeats_s"])
    starts_s = [draft.downbeats_s[section.start_bar - 1] for section in draft.sections]
    borders = sorted({int(np.abs(lines - start_s).argmin()) for start_s in starts_s[1:]} - {0, len(lines) - 1})
    middles = (lines[1:] + lines[:-1]) / 2
    at = np.maximum(np.searchsorted(starts_s, middles, side="right") - 1, 0)
    return _scored(song, borders, [draft.sections[index].label for index in at])


def _print_figures(drafts: Sequence[Drafts]) -> None:
    """Hits, stops, endings, grooves, fills and dynamics: on true bars, then on measured ones; and how sure they are."""
    print("\nGiven bars")
    print_figures([(one.song.truth, counts_of(one.given, one.song.truth)) for one in drafts])
    right = [one for one in drafts if _are_bars_true(one)]
    for name, chosen in {
        "On measured bars": drafts,
        f"{len(right)} songs whose bars are drafted right": right,
    }.items():
        print(f"\n{name}")
        print_figures([(one.song.truth, counts_of(one.measured, one.song.truth)) for one in chosen])
    print_calibration(
        {
            "sections": [claim for one in drafts for claim in section_claims(one.given, one.song.truth)],
            "hits": [claim for one in drafts for claim in hit_claims(one.given, one.song.truth)],
            "measured bars": [(one.song.measured.bar_one.confidence, _are_lines_true(one.song)) for one in drafts],
        }
    )


def _are_lines_true(song: KnownSong) -> bool:
    return are_bars_right(song.measured.downbeats_s, song.truth["downbeats_s"])


def _are_bars_true(drafts: Drafts) -> bool:
    """Whether the bars that are drafted without the true ones, and their meter, are true."""
    clock, truth = drafts.clock, drafts.song.truth
    if clock is None or str(clock.signs[0]) != truth["meter"]:
        return False
    return are_bars_right(clock.downbeats_s.tolist(), truth["downbeats_s"])


def _print_bars(drafts: Sequence[Drafts]) -> None:
    """How often the number of bars is right, of all songs and of those whose bars have the right length."""
    print(f"\n{'Number of bars exact':44}  measured   draft   songs")
    groups: dict[str, list[tuple[bool, bool]]] = {}
    for one in drafts:
        true = one.song.truth["bars"]
        pair = (len(one.song.measured.downbeats_s) - 1 == true, one.measured.bars == true)
        for name in _bar_groups(one.song, one.clock):
            groups.setdefault(name, []).append(pair)
    for name, pairs in sorted(groups.items()):
        measured, drafted = np.mean(pairs, axis=0)
        print(f"{name:44}{measured:10.2f}{drafted:8.2f}{len(pairs):8}")
    meters: dict[str, list[str]] = {}
    for one in drafts:
        meters.setdefault(one.song.truth["meter"], []).append(str(one.clock.signs[0]) if one.clock else "none")
    print("\nMeters: true, then how often each was measured; and songs whose meter and bars are both right")
    for true, found in sorted(meters.items()):
        right = sum(_are_bars_true(one) for one in drafts if one.song.truth["meter"] == true)
        counts = ", ".join(f"{sign} {count}" for sign, count in Counter(found).most_common())
        print(f"  {true:5} {len(found):3} songs: {counts}; bars right in {right}")


def _bar_groups(song: KnownSong, clock: BarClock | None) -> list[str]:
    found = ["all"]
    true_bar_s = float(np.median(np.diff(song.truth["downbeats_s"])))
    if clock is not None and abs(float(np.median(np.diff(clock.downbeats_s))) / true_bar_s - 1) < 0.03:
        found.append("all whose bars have the right length")
        found.append(f"  of these, ending: {song.truth['ending']['kind']}")
        if len(set(song.truth["meters"])) == 1:
            found.append("  of these, without a short bar")
    return found


def _print_cost(drafts: Sequence[Drafts]) -> None:
    share = sum(one.given_s for one in drafts) / sum(one.song.measuring_s for one in drafts)
    print(f"\nTime of the draft over that of measuring: {share:.3f}")
    longest = max((one.song for one in drafts), key=lambda song: int(song.truth["bars"]))
    tracemalloc.start()
    draft_chart(longest.parts, longest.true_clock)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"Memory of the draft of {longest.truth['bars']} bars, beyond the features: {peak / 2**20:.0f} MiB")


def main() -> None:
    """Print how well each setting of the published methods does on the songs of `FITTED`."""
    data = Path(sys.argv[1] if len(sys.argv) > 1 else "var/bench")
    songs = [song for seeds in FITTED for song in known_songs(seeds, data)]
    rows = [_rows_of(song) for song in songs]

    def mean_f(way: Borders) -> float:
        found = [border_scores(way(row), song.borders, within=1).f for song, row in zip(songs, rows, strict=True)]
        return float(np.mean(found))

    for bars in (6.0, 7.0, 8.0, 9.0):
        print(f"librosa, {bars:g} bars: {mean_f(partial(_one_for, bars)):.3f}")
    for half in (2, 4, 8):
        for least in (0.0, 0.2, 0.4, 0.8, 1.2):
            f = mean_f(partial(checkerboard, half=half, least=least))
            print(f"checkerboard, half {half}, {least} spreads: {f:.3f}")


if __name__ == "__main__":
    main()
