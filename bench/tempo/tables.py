"""The tables: every tool over the same songs, what only Kitpost answers, and how honest its certainty is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from bench.tempo.answers import Answer
from bench.tempo.known import Known
from bench.tempo.scores import BARS_RIGHT_F, LISTED_SHARE, Scores

COMPARED = (
    "4%", "1%", "<.1", "<.02", "4%lvl", "1%lvl", ".1lvl", ".02lvl", "line", "F70", "F20", "barF", "lag ms", "xRT",
)  # fmt: skip
OURS_ALONE = ("listed", "kind", "meter", "bar1", "bar1'", "found", "sure", "right", "inside")
COMPARED_LEGEND = """\
  4%, 1%, <.1, <.02: tempo within 4 %, 1 %, 0.1 and 0.02 BPM at the felt level; ..lvl: at that, 2, 3, 1/2 or 1/3 of it;
  line: within 0.02 BPM, up to level, of a straight line through the tool's beats; F70, F20: beats at 70 and 20 ms;
  barF: bar lines at 70 ms; lag ms: beats found minus true, in the middle; xRT: seconds of music a CPU second, median,
  warm (Kitpost's includes all its measurements of every stem; the others get one mono sum of the stems, made before)"""
OURS_LEGEND = """\
  listed: felt tempo within 1 % among answer and four alternatives; kind: constant or map; bar1, bar1': bar one within
  70 and 10 ms; found: the right findings on stems; sure: all confidences >= .95; right: of those, bar lines right;
  inside: true tempo in the stated interval (asked where called constant and within 1 % up to level)"""
BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.01)


@dataclass(frozen=True)
class Scored:
    """One song, one tool's answer, and how right it is."""

    known: Known
    answer: Answer
    scores: Scores


Results = dict[str, list[Scored]]


def print_comparison(results: Results) -> None:
    print(COMPARED_LEGEND)
    for heading in [*_headings(results), "all"]:
        groups = {tool: _under(heading, scored) for tool, scored in results.items()}
        songs = len(next(iter(groups.values())))
        print(f"\n  {f'{heading} ({songs})':<16}" + "".join(f"{name:>7}" for name in COMPARED))
        for tool, scored in groups.items():
            rows = [one.scores for one in scored]
            print(f"  {tool:<16}" + "".join(_cell(name, rows) for name in COMPARED))
    peaks = [f"{tool} {max(one.answer.peak_mb for one in scored):.0f} MB" for tool, scored in results.items()]
    print("\n  Peak memory of each tool's process: " + ", ".join(peaks))


def print_ours(scored: list[Scored]) -> None:
    print(f"\n{OURS_LEGEND}\n\n  {'kitpost alone':<16}" + "".join(f"{name:>7}" for name in ("n", *OURS_ALONE)))
    for heading in [*_headings({"": scored}), "all"]:
        rows = [one.scores for one in _under(heading, scored)]
        print(f"  {heading:<16}{len(rows):>7}" + "".join(_cell(name, rows) for name in OURS_ALONE))
    _print_clicks(scored)


def _headings(results: Results) -> list[str]:
    return sorted({one.known.category for scored in results.values() for one in scored})


def _under(heading: str, scored: list[Scored]) -> list[Scored]:
    return [one for one in scored if heading in ("all", one.known.category)]


def _cell(name: str, rows: Sequence[Scores]) -> str:
    values = [row[name] for row in rows if name in row]
    if not values:
        return f"{'-':>7}"
    return f"{np.median(values):>7.0f}" if name in ("xRT", "lag ms") else f"{np.mean(values):>7.2f}"


def _print_clicks(scored: list[Scored]) -> None:
    pairs = [
        pair for one in scored for pair in zip(one.known.are_clicks, one.answer.reading.are_clicks or (), strict=False)
    ]
    found = [says for is_click, says in pairs if is_click]
    false = [says for is_click, says in pairs if not is_click]
    if found:
        print(
            f"  clicks: {sum(found)} of {len(found)} recognised, {sum(false)} of {len(false)} other files taken for one"
        )


def print_calibration(scored: list[Scored]) -> None:
    """Of music, not of clicks: each claim by its own confidence, and all by the least of the three."""
    print("\n  How sure, and how often right: share right (songs)")
    print(f"  {'confidence':<16}{'tempo':>13}{'meter':>13}{'bar one':>13}{'least: bars':>13}")
    claims = [_claims(one) for one in scored if "sure" in one.scores]
    for low, high in pairwise(BINS):
        cells = [_bin([pair for pair in column if low <= pair[0] < high]) for column in zip(*claims, strict=True)]
        print(f"  {f'{low:.2f} to {min(high, 1):.2f}':<16}" + "".join(f"{cell:>13}" for cell in cells))
    inside = [one.scores["inside"] for one in scored if "inside" in one.scores]
    if inside:
        print(f"  stated intervals hold the true tempo in {np.mean(inside):.3f} of {len(inside)} songs")


Claim = tuple[float, float | None]


def _claims(one: Scored) -> tuple[Claim, Claim, Claim, Claim]:
    """Confidence and whether right, None where not asked, of tempo, meter, bar one, and of the bar lines."""
    assert one.answer.reading.confidences
    tempo, meter, bar_one = one.answer.reading.confidences
    is_near = abs((one.answer.reading.bpm or 0.0) / one.known.bpm - 1) <= LISTED_SHARE
    least = min(tempo, meter, bar_one)
    scores = one.scores
    return (
        (tempo, float(is_near)),
        (meter, scores.get("meter")),
        (bar_one, scores.get("bar1")),
        (least, float(scores["barF"] >= BARS_RIGHT_F)),
    )


def _bin(claims: Sequence[Claim]) -> str:
    rights = [right for _, right in claims if right is not None]
    return f"{np.mean(rights):.2f} ({len(rights)})" if rights else "-"
