"""What a drummer may hold the engine to, row by row: tempo, bar one, drift, wrong rates, clicks.

TT-1 to TT-6, the accuracy windows, the drift table and the wrong-rate rule are the house's list of checks; each
expected value comes from the arithmetic beside it, or from the source it names.
"""

from __future__ import annotations

import re
from fractions import Fraction

import numpy as np
import pytest

from analysis.commands.song_text import song_lines
from analysis.core.reports import Brief
from analysis.maps.click import plan_click
from analysis.maps.click_drift import click_drift_s
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.song import SongFile
from analysis.rules.wrong_rate import suspected_rates
from bench.tempo.known import Known
from bench.tempo.scores import Reading, score
from tests.analysis.clicks import render_click
from tests.analysis.playing import band, codes, measured, placed, pluck, song_file

RATE_HZ = 48_000
BAR_ONE_FRAME = 205_714  # two bars of 4/4 at 112: 8 * 60 * 48 000 / 112 = 205 714.29
FOUR_MINUTES_S = 240


def click_at(bpm: str) -> SongFile:
    tempo_map = TempoMap.constant(bpm, "4/4", Fraction(BAR_ONE_FRAME, RATE_HZ))
    return song_file(render_click(tempo_map, bars=56, count_in_bars=0, sample_rate_hz=RATE_HZ), "click.wav")


def test_tt1_a_click_at_112_reads_112_within_2_thousandths_and_bar_one_within_48_frames() -> None:
    song = measured(click_at("112")).song

    assert song.tempo.bpm == pytest.approx(112, abs=0.002)
    assert song.bar_one.frame == pytest.approx(BAR_ONE_FRAME, abs=48)


def test_tt2_a_click_at_111_95_is_not_said_to_be_112() -> None:
    # 0.05 BPM at 112 is 107 ms after four minutes.
    tempo = measured(click_at("111.95")).song.tempo

    assert tempo.bpm == pytest.approx(111.95, abs=0.002)
    assert tempo.bpm_high is not None
    assert tempo.bpm_high < 112


def test_tt3_without_click_and_brief_a_pulse_that_may_be_half_or_double_is_asked_about() -> None:
    # One soft pluck every 310 ms, like all the others: 97 or 194 a minute, nobody can tell.
    rng = np.random.default_rng(11)
    times_s = 0.4 + np.arange(170) * 0.31 + rng.normal(0, 0.006, 170)
    report = measured(song_file(placed([(time, pluck(24)) for time in times_s], 55)))

    assert report.song.tempo.bpm
    assert "no-tempo" in codes(report)
    assert report.song.tempo.confidence < 0.95
    ratios = {round(other.bpm / report.song.tempo.bpm, 2) for other in report.song.tempo.alternatives}
    assert ratios & {0.5, 2.0}


def test_tt4_a_song_that_wanders_by_two_per_cent_is_not_constant_and_gets_a_map() -> None:
    beats = np.arange(120)
    seconds = 0.5 + np.cumsum(0.55 / (1 + 0.02 * np.sin(2 * np.pi * beats / 60)))
    report = measured(song_file(band(seconds)))

    assert report.song.tempo.kind == "map"
    assert "tempo-drifts" in codes(report)
    assert len(report.song.tempo_map) > 1


# In T seconds of music at B, a click at B + d moves by T * d / (B + d).
DRIFT_ROWS_MS = [
    ("112", "0.05", 107.1),
    ("112", "-0.05", -107.2),
    ("112", "0.005", 10.71),
    ("112", "0.0005", 1.07),
    ("112", "0.5", 1066.7),
    ("60", "0.05", 199.8),
    ("120", "0.05", 100.0),
    ("174", "0.05", 68.9),
]


@pytest.mark.parametrize(("true_bpm", "off_bpm", "drift_ms"), DRIFT_ROWS_MS)
def test_tt5_each_row_of_the_drift_table_within_a_tenth_of_a_millisecond(
    true_bpm: str, off_bpm: str, drift_ms: float
) -> None:
    drift_s = click_drift_s(float(true_bpm), float(true_bpm) + float(off_bpm), FOUR_MINUTES_S)

    assert 1000 * drift_s == pytest.approx(drift_ms, abs=0.1)


def test_tt5_the_report_says_how_far_a_rounded_tempo_would_drift_by_the_end() -> None:
    # 223 beats at 111.95 last 119.5 s; 0.05 / 112 of that is 53.4 ms.
    report = measured(click_at("111.95"))
    said = re.search(r"a click at 112 would be (\d+) ms off by the end", "\n".join(song_lines(report.song)))

    assert said is not None
    assert int(said[1]) == pytest.approx(53.4, abs=1)


@pytest.mark.parametrize(("bpm", "rate_hz"), [("112", 48_000), ("112", 44_100), ("92.5", 48_000), ("174", 48_000)])
def test_tt6_every_rendered_click_is_on_the_frame_of_the_table(bpm: str, rate_hz: int) -> None:
    # round(n * 60 * rate / bpm), each from the exact value, no tolerance. 112 at 44.1 kHz is 23 625 frames a beat.
    samples = render_click(TempoMap.constant(bpm), bars=12, count_in_bars=0, sample_rate_hz=rate_hz)[:, 0]
    sounding = np.flatnonzero(samples)
    starts = sounding[np.concatenate([[True], np.diff(sounding) > rate_hz // 50])]

    exact = [int(Fraction(60 * rate_hz * beat) / Fraction(bpm) + Fraction(1, 2)) for beat in range(48)]
    assert starts.tolist() == exact


def test_tt6_bar_113_at_112_lies_at_four_minutes_exactly() -> None:
    # 112 bars of 4 beats at 112: 240 s, 11 520 000 frames. Adding up 25 714 would lie 128 frames short.
    plan = plan_click(TempoMap.constant("112"), bars=113, count_in_bars=0, sample_rate_hz=48_000)

    assert plan.onsets[112 * 4].frame == 11_520_000


@pytest.mark.parametrize(
    ("bpm", "accuracy_1", "accuracy_2"),
    [
        (116.48, 1, 1),  # + 4 %: the border is inside
        (116.49, 0, 0),
        (107.52, 1, 1),
        (107.51, 0, 0),
        (56.0, 0, 1),
        (224.0, 0, 1),
        (37.333, 0, 1),
        (336.0, 0, 1),
        (58.24, 0, 1),  # half of the border
        (74.667, 0, 0),  # 2:3 is no level
    ],
)
def test_acc_rows_at_112_accuracy_1_and_2_with_their_borders(bpm: float, accuracy_1: int, accuracy_2: int) -> None:
    # Source: Gouyon et al. 2006, IEEE Trans. ASLP 14(5): within 4 %, and at 2, 3, 1/2, 1/3 (from memory)
    scores = score(Known("row", "rows", 112.0), Reading(bpm=bpm, beats_s=()))

    assert (scores["4%"], scores["4%lvl"]) == (accuracy_1, accuracy_2)


# 48 kHz read as 44.1 kHz is 147/160 = 0.91875 of the tempo; 96 as 88.2 the same; pulled down: 0.999.
@pytest.mark.parametrize(
    ("found_bpm", "made_hz", "read_hz"),
    [(102.9, 48_000, 44_100), (121.905, 44_100, 48_000), (111.888, 48_000, 47_952)],
)
def test_wrong_rate_rows_name_the_two_rates(found_bpm: float, made_hz: int, read_hz: int) -> None:
    confusion = suspected_rates(112, found_bpm)

    assert confusion is not None
    assert confusion.factor == Fraction(read_hz, made_hz)


def test_wrong_rate_the_brief_says_112_and_the_file_102_90_so_a_mismatch_is_hinted_first() -> None:
    report = measured(click_at("102.9"), brief=Brief(bpm=112))

    assert "wrong-rate-suspected" in codes(report)
    assert "tempo-differs" not in codes(report)


def test_wrong_rate_the_brief_says_112_and_the_file_103_50_so_none_is() -> None:
    report = measured(click_at("103.5"), brief=Brief(bpm=112))

    assert "wrong-rate-suspected" not in codes(report)
    assert "tempo-differs" in codes(report)
