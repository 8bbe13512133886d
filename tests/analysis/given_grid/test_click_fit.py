"""Click and music held against each other: tempo, start and end; and how sure a click makes us."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from analysis.core.reports import Finding, SongReport
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.song import SongFile
from tests.analysis.clicks import render_click
from tests.analysis.playing import RATE_HZ, band, codes, measured, song_file

BARS = 32
ABOUT_THE_FIT = {"click-differs", "click-tempo-differs", "click-short", "start-differs"}


def click(bpm: str, *, bar_one_s: float = 2.0, bars: int = BARS, count_in_bars: int = 0) -> SongFile:
    tempo_map = TempoMap.constant(bpm, "4/4", Fraction(str(bar_one_s)))
    return song_file(render_click(tempo_map, bars=bars, count_in_bars=count_in_bars), "click.wav")


def music(bpm: float, *, scatter_s: float = 0.004) -> SongFile:
    return song_file(band(2 + np.arange(4 * BARS + 1) * 60 / bpm, scatter_s=scatter_s), "mix.wav")


def only(report: SongReport, code: str) -> Finding:
    found = [finding for finding in report.findings if finding.code == code]
    assert len(found) == 1
    return found[0]


def test_a_click_that_fits_is_not_mentioned() -> None:
    assert not codes(measured(click("120", count_in_bars=1), music(120))) & ABOUT_THE_FIT


@pytest.mark.parametrize(("click_bpm", "music_bpm"), [("120", 120.5), ("100", 100.2), ("100", 118.0)])
def test_two_tempos_are_told_with_both_numbers(click_bpm: str, music_bpm: float) -> None:
    report = measured(click(click_bpm), music(music_bpm))

    value = only(report, "click-tempo-differs").value
    assert value["click_bpm"] == pytest.approx(float(click_bpm), abs=0.001)
    assert value["measured_bpm"] == pytest.approx(music_bpm, abs=0.02)
    # The click has moved by (beats played) * (difference of the beats' lengths) when the music ends.
    apart_ms = 4 * BARS * abs(60_000 / music_bpm - 60_000 / float(click_bpm))
    assert value["drift_ms"] == pytest.approx(apart_ms, rel=0.05)
    assert "click-differs" not in codes(report)


@pytest.mark.parametrize(
    ("clicked", "from_s", "to_s"),
    [
        ({"bars": 20}, 2.0, 2.0 + 79 * 0.5),
        ({"bar_one_s": 10.0, "bars": BARS - 4}, 10.0, 2.0 + 127 * 0.5),
    ],
    ids=["stops early", "starts late"],
)
def test_a_click_that_covers_a_part_is_told_and_carried_on(clicked: dict[str, Any], from_s: float, to_s: float) -> None:
    report = measured(click("120", **clicked), music(120))

    value = only(report, "click-short").value
    assert (value["click_from_s"], value["click_to_s"]) == pytest.approx((from_s, to_s), abs=0.001)
    assert (value["music_from_s"], value["music_to_s"]) == pytest.approx((2.0, 2.0 + 127.5 * 0.5), abs=0.05)
    assert report.song.bar_one.time_s == pytest.approx(2.0, abs=0.001)
    assert report.song.beats_s[-1] >= 2.0 + 127 * 0.5 - 0.001


@pytest.mark.parametrize("late_s", [0.03, -0.02])
def test_a_constant_distance_is_told_in_time_and_in_samples(late_s: float) -> None:
    value = only(measured(click("120", bar_one_s=2 + late_s), music(120, scatter_s=0)), "click-differs").value

    assert value["later_or_earlier"] == ("later" if late_s > 0 else "earlier")
    # Sounds as sharp as these are seen about 5 ms before the usual ones.
    assert value["offset_ms"] == pytest.approx(abs(1000 * late_s), abs=6)
    assert value["offset_frames"] == pytest.approx(value["offset_ms"] * RATE_HZ / 1000, abs=1)


def test_every_bar_of_an_accented_click_makes_us_surer() -> None:
    few, many = measured(click("112", bars=4)).song, measured(click("112", bars=60)).song

    assert few.bar_one.confidence < 0.95 < many.bar_one.confidence
    assert few.tempo.confidence < many.tempo.confidence
    assert many.tempo.confidence > 0.995


@pytest.mark.parametrize(("interval_s", "sure"), [(0.5, True), (0.25, False)])
def test_without_accents_the_usual_level_is_likely_and_another_is_offered(interval_s: float, sure: bool) -> None:
    samples = np.zeros((RATE_HZ * 61, 1))
    for index in range(int(60 / interval_s)):
        frame = round((0.5 + index * interval_s) * RATE_HZ)
        samples[frame : frame + 30] = 0.5

    tempo = measured(song_file(samples, "click.wav")).song.tempo

    assert tempo.bpm == pytest.approx(60 / interval_s, abs=0.001)
    assert (tempo.confidence > 0.9) is sure
    assert {other.label for other in tempo.alternatives} == {"half", "double"}
