"""The rendered click: every onset on its frame, never louder than its ceiling."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.maps.anchors import Anchor, map_through
from analysis.maps.click import clicks_between, plan_click
from analysis.maps.click_style import ClickStyle
from analysis.maps.tempo_map import MeterSign, TempoMap
from tests.analysis.playing import FREE_MAP

# Derived: samples per beat = 60 * rate / bpm, positions rounded from the exact value.
TWO_BAR_COUNT_IN = {
    (60, 48_000): 384_000,
    (96, 44_100): 220_500,
    (112, 44_100): 189_000,
    (112, 48_000): 205_714,
    (112, 96_000): 411_429,
    (128, 44_100): 165_375,
    (140, 48_000): 164_571,
    (174, 48_000): 132_414,
}


def first_sounding_frames(samples: NDArray[Any], rate_hz: int) -> list[int]:
    """Frames that sound after at least 20 ms of digital silence."""
    sounding = np.flatnonzero(samples[:, 0] != 0.0)
    starts = np.concatenate([[True], np.diff(sounding) > 0.02 * rate_hz])
    return [int(frame) for frame in sounding[starts]]


@pytest.mark.parametrize("case", TWO_BAR_COUNT_IN)
def test_two_bars_of_count_in_put_bar_one_on_its_exact_frame(case: tuple[int, int]) -> None:
    bpm, rate_hz = case

    assert plan_click(TempoMap.constant(bpm), bars=1, sample_rate_hz=rate_hz).bar_one_frame == TWO_BAR_COUNT_IN[case]


def test_the_click_lines_up_with_files_whose_bar_one_is_late() -> None:
    tempo_map = TempoMap.constant(120, "4/4", 10)

    plan = plan_click(tempo_map, bars=4, count_in_bars=2, sample_rate_hz=48_000)

    assert plan.lead_s == 0
    assert plan.bar_one_frame == 480_000
    assert plan.onsets[0].frame == 480_000 - 192_000


PICKUP_OF_A_BEAT = {"bar": 0, "time_s": 1.0, "bpm": 120, "meter": "1/4"}
PICKUP_OF_A_BAR = {"bar": 0, "time_s": 1.0, "bpm": 120, "meter": "4/4"}


@pytest.mark.parametrize(
    ("pickup", "bar_one_s", "count_in_bars", "clicks_s"),
    [
        # Two bars of 4/4 at 120 lead to bar one at 1.5 s: from -2.5 s on, and the pickup at 1.0 is the last of them.
        (PICKUP_OF_A_BEAT, 1.5, 2, [-2.5 + 0.5 * beat for beat in range(8)]),
        (PICKUP_OF_A_BEAT, 1.5, 0, [1.0]),
        # A whole bar 0 is a bar of the song: the count-in leads to it, at 1 s.
        (PICKUP_OF_A_BAR, 3.0, 1, [-1.0 + 0.5 * beat for beat in range(8)]),
        (PICKUP_OF_A_BAR, 3.0, 0, [1.0, 1.5, 2.0, 2.5]),
    ],
)
def test_the_count_in_leads_to_a_song_that_begins_with_a_pickup(
    pickup: dict[str, object], bar_one_s: float, count_in_bars: int, clicks_s: list[float]
) -> None:
    bar_one = {"bar": 1, "time_s": bar_one_s, "bpm": 120, "meter": "4/4"}
    plan = plan_click(TempoMap.from_json({"segments": [pickup, bar_one]}), bars=2, count_in_bars=count_in_bars)
    before = [onset.frame / 48_000 - float(plan.lead_s) for onset in plan.onsets if onset.frame < plan.bar_one_frame]
    assert before == clicks_s
    assert plan.onsets[0].is_accent


def test_a_count_in_that_does_not_fit_starts_before_the_files() -> None:
    plan = plan_click(TempoMap.constant(120, "4/4", 1), bars=4, count_in_bars=2, sample_rate_hz=48_000)

    assert plan.lead_s == 3
    assert plan.onsets[0].frame == 0
    assert plan.bar_one_frame == 192_000


def test_accents_the_first_beat_of_every_bar() -> None:
    plan = plan_click(TempoMap.constant(100, "3/4"), bars=2, count_in_bars=1)

    assert [onset.is_accent for onset in plan.onsets] == [True, False, False] * 3


def times_s(tempo_map: TempoMap, first_bar: int, last_bar: int) -> list[float]:
    return [float(click.time_s) for click in clicks_between(tempo_map, first_bar, last_bar)]


def test_a_free_passage_is_silent_but_for_one_bar_that_counts_in_what_follows() -> None:
    """16 beats of 0.5 s to 7.5 s; then the bar of 3/4 at 100 that comes before 18 s: 16.2, 16.8 and 17.4 s."""
    clicks = list(clicks_between(FREE_MAP, 1, 9))

    expected = [*(0.5 * beat for beat in range(16)), 16.2, 16.8, 17.4, 18.0, 18.6, 19.2]
    assert [float(click.time_s) for click in clicks] == pytest.approx(expected, abs=1e-12)
    assert [(click.bar, click.beat) for click in clicks[16:20]] == [(8, 0), (8, 1), (8, 2), (9, 0)]
    assert [onset.frame for onset in plan_click(FREE_MAP, bars=9, count_in_bars=0).onsets] == [
        round(time_s * 48_000) for time_s in expected
    ]


@pytest.mark.parametrize(("free_s", "counted_in"), [("1.8", True), ("1.79", False)])
def test_a_passage_shorter_than_the_bar_counts_nothing_in(free_s: str, *, counted_in: bool) -> None:
    """Bar 2 is free from 2 s on; what follows has bars of 1.8 s."""
    anchors = [
        Anchor(1, Fraction(0), MeterSign(4, 4)),
        Anchor(2, Fraction(2), MeterSign(4, 4), free=True),
        Anchor(3, 2 + Fraction(free_s), MeterSign(3, 4)),
    ]
    found = times_s(map_through(anchors, last_bpm=Fraction(100)), 1, 3)

    assert found[:4] == [0.0, 0.5, 1.0, 1.5]
    assert found[4:-3] == pytest.approx([2.0, 2.6, 3.2] if counted_in else [], abs=1e-9)


def test_a_passage_that_is_free_to_the_end_stays_silent() -> None:
    four = MeterSign(4, 4)
    anchors = [Anchor(1, Fraction(0), four), Anchor(3, Fraction(4), four, free=True)]
    plan = plan_click(map_through(anchors, last_bpm=Fraction(120)), bars=20, count_in_bars=0)

    assert plan.frames == 40 * 48_000
    assert [onset.frame for onset in plan.onsets] == [24_000 * beat for beat in range(8)]


def test_a_song_that_begins_free_is_not_counted_in_before_it() -> None:
    """Bars 1 and 2 last 5 s; one bar at 120 before 5 s begins at 3 s, and the click begins with the files."""
    four = MeterSign(4, 4)
    anchors = [Anchor(1, Fraction(0), four, free=True), Anchor(3, Fraction(5), four)]
    plan = plan_click(map_through(anchors, last_bpm=Fraction(120)), bars=3, count_in_bars=2)

    assert plan.lead_s == 0
    assert (plan.count_in_bars, plan.bar_one_frame) == (0, 0)
    assert [onset.frame for onset in plan.onsets] == [24_000 * beat for beat in range(6, 14)]
    assert [onset.is_accent for onset in plan.onsets] == [True, False, False, False] * 2


def test_what_is_cut_out_after_a_free_passage_begins_with_its_own_bar() -> None:
    assert times_s(FREE_MAP, 9, 9) == pytest.approx([18.0, 18.6, 19.2], abs=1e-12)


@pytest.mark.parametrize(
    ("meter", "subdivision", "parts"),
    [
        # Note values to the beat (music theory). Simple meters: the beat is the lower number.
        ("4/4", "beat", 1),
        ("4/4", "quarter", 1),
        ("4/4", "eighth", 2),
        ("4/4", "triplet", 3),
        ("4/4", "sixteenth", 4),
        ("2/2", "quarter", 2),
        ("2/2", "triplet", 6),
        ("2/2", "sixteenth", 8),
        # Compound meters: the beat is a dotted quarter, which is three eighths.
        ("6/8", "eighth", 3),
        ("6/8", "triplet", 3),
        ("12/8", "sixteenth", 6),
        # A value that does not divide the beat adds nothing to it (house choice).
        ("6/8", "quarter", 1),
        ("7/8", "quarter", 1),
        ("7/8", "triplet", 1),
        ("7/8", "eighth", 1),
        ("7/8", "sixteenth", 2),
        ("3/16", "sixteenth", 1),
    ],
)
def test_subdivisions_by_meter(meter: str, subdivision: str, parts: int) -> None:
    sign = MeterSign.parse(meter)
    style = ClickStyle(subdivision=subdivision)
    onsets = plan_click(TempoMap.constant(90, meter), bars=2, count_in_bars=0, style=style).onsets

    assert len(onsets) == 2 * sign.beats_per_bar * parts
    assert [onset.is_accent for onset in onsets] == ([True] + [False] * (sign.beats_per_bar * parts - 1)) * 2


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 88_200, 96_000, 192_000])
@pytest.mark.parametrize("subdivision", ["beat", "triplet", "sixteenth"])
def test_every_onset_is_the_frame_nearest_to_the_maps_time(rate_hz: int, subdivision: str) -> None:
    """A map whose tempo changes, and whose beats fall between frames: tolerance 0 (Source: arithmetic)."""
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 1, "time_s": 0.37, "bpm": 112.3, "meter": "4/4"},
                {"bar": 6, "time_s": 11.0, "bpm": 97.7, "meter": "6/8"},
                {"bar": 9, "time_s": 14.9, "bpm": 133, "meter": "7/8"},
            ]
        }
    )
    style = ClickStyle(subdivision=subdivision)
    plan = plan_click(tempo_map, bars=12, count_in_bars=0, sample_rate_hz=rate_hz, style=style)
    expected = []
    for bar in range(1, 13):
        segment = tempo_map.segment_at_bar(bar)
        parts = style.parts_of_beat(segment.meter)
        count = segment.meter.beats_per_bar * parts
        starts_s = segment.time_s + (bar - segment.bar) * segment.bar_s
        expected += [starts_s + segment.bar_s * Fraction(part, count) for part in range(count)]

    assert [onset.frame for onset in plan.onsets] == [int(time_s * rate_hz + Fraction(1, 2)) for time_s in expected]


def test_bars_of_click_and_bars_without_in_turn() -> None:
    """Two on, one off, from bar one; the count-in before it always sounds."""
    onsets = plan_click(TempoMap.constant(120), bars=7, style=ClickStyle(bars_on=2, bars_off=1)).onsets

    assert sorted({onset.bar for onset in onsets}) == [-1, 0, 1, 2, 4, 5, 7]


def test_counting_in_is_done_in_beats() -> None:
    plan = plan_click(TempoMap.constant(120), bars=1, style=ClickStyle(subdivision="sixteenth"))

    assert [onset.part for onset in plan.onsets] == [0] * 8 + [0, 1, 2, 3] * 4
