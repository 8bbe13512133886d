"""Single bars of another length, in songs by our own band: found at their bar, and nowhere else."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from analysis.band.clock import Step
from analysis.band.render import mix_stems, render_stems
from analysis.band.score import Score, SongPlan, steady, write_score
from analysis.bars.odd_bars import likeliest_lines
from analysis.core.reports import SongReport
from tests.analysis.playing import codes, measured, song_file

RATE_HZ = 44_100
FORM = (("verse", 8), ("chorus", 8), ("verse", 8), ("chorus", 8))


def heard(plan: SongPlan) -> tuple[Score, SongReport]:
    score = write_score(plan)
    return score, measured(song_file(mix_stems(render_stems(score, RATE_HZ)), rate_hz=RATE_HZ))


def plan(bpm: int, odd_bars: tuple[tuple[int, str], ...], feel: str = "straight", **rest: Any) -> SongPlan:
    return steady("odd", 5, bpm, feel=feel, form=FORM, odd_bars=odd_bars, **rest)


def bars(report: SongReport) -> list[tuple[int, str]]:
    return [(segment.bar, segment.meter) for segment in report.song.tempo_map]


def most_off_s(score: Score, report: SongReport) -> float:
    found = np.array(report.song.downbeats_s)
    return max(float(np.abs(found - time_s).min()) for time_s in score.truth.downbeats_s[:-1])


@pytest.mark.parametrize(
    ("feel", "odd_bar", "segments"),
    [
        ("straight", (16, "2/4"), [(1, "4/4"), (16, "2/4"), (17, "4/4")]),
        ("straight", (17, "3/4"), [(1, "4/4"), (17, "3/4"), (18, "4/4")]),
        ("straight", (12, "5/4"), [(1, "4/4"), (12, "5/4"), (13, "4/4")]),
        ("waltz", (17, "2/4"), [(1, "3/4"), (17, "2/4"), (18, "3/4")]),
    ],
)
def test_an_odd_bar_is_mapped_and_named(feel: str, odd_bar: tuple[int, str], segments: list[tuple[int, str]]) -> None:
    score, report = heard(plan(120, (odd_bar,), feel))

    assert bars(report) == segments
    assert most_off_s(score, report) < 0.03
    assert {segment.bpm for segment in report.song.tempo_map} == {120.0}
    assert report.song.tempo.kind == "constant"
    odd = [finding for finding in report.findings if finding.code == "odd-bar"]
    assert [finding.place.bar for finding in odd] == [odd_bar[0]]
    assert odd[0].value["odd_meter"] == odd_bar[1]
    assert "tempo-changes" not in codes(report)


def test_two_odd_bars_are_found() -> None:
    score, report = heard(plan(118, ((9, "2/4"), (25, "2/4"))))

    assert bars(report) == [(1, "4/4"), (9, "2/4"), (10, "4/4"), (25, "2/4"), (26, "4/4")]
    assert most_off_s(score, report) < 0.03


def test_bars_of_one_length_are_left_alone() -> None:
    _, report = heard(plan(120, ()))

    assert bars(report) == [(1, "4/4")]
    assert "odd-bar" not in codes(report)


def test_an_odd_bar_before_a_change_of_tempo() -> None:
    tempo = Step(Fraction(120), Fraction(110), at_bar=25)
    score, report = heard(SongPlan("both", 5, tempo, form=FORM, odd_bars=((12, "2/4"),)))

    assert bars(report) == [(1, "4/4"), (12, "2/4"), (13, "4/4"), (25, "4/4")]
    assert report.song.tempo_map[-1].bpm == pytest.approx(110, abs=0.1)
    assert most_off_s(score, report) < 0.03


def odds_of(lines: list[int], count: int) -> np.ndarray:
    """Clear odds: 5 for a bar line on these beats, 5 against it elsewhere."""
    odds = np.full(count, -5.0)
    odds[lines] = 5.0
    return odds


def test_a_short_bar_is_where_the_odds_move() -> None:
    lines = [1, 5, 9, 13, 15, 19, 23, 27, 31]

    assert likeliest_lines(odds_of(lines, 33), 4) == lines


def test_a_short_bar_must_win_more_than_it_costs() -> None:
    """Two bars later the odds move back: both win 15, which is less than two odd bars cost, unless at 7 each."""
    moved = [0, 4, 8, 12, 14, 18, 20, 24, 28, 32, 36]

    assert likeliest_lines(odds_of(moved, 40), 4) == list(range(0, 40, 4))
    assert likeliest_lines(odds_of(moved, 40), 4, price=7.0) == moved


def test_no_odd_bar_in_the_first_and_the_last_two_bars() -> None:
    assert likeliest_lines(odds_of([0, 2, 6, 10, 14, 18, 22], 26), 4) == [2, 6, 10, 14, 18, 22]
    assert likeliest_lines(odds_of([0, 4, 8, 12, 16, 20, 22], 26), 4) == [0, 4, 8, 12, 16, 20, 24]
