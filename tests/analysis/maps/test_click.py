"""The rendered click: every onset on its frame, never louder than its ceiling."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.maps.anchors import Anchor, map_through
from analysis.maps.click import CEILING_DBTP, DEFAULT_PEAK_DBFS, clicks_between, plan_click, render_blocks, render_click
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


def test_the_default_peak_is_minus_twelve() -> None:
    samples = render_click(TempoMap.constant(112), bars=2)

    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(DEFAULT_PEAK_DBFS, abs=0.01)


@pytest.mark.parametrize("bpm", [60, 300, 1000])
def test_no_setting_passes_the_ceiling(bpm: int) -> None:
    samples = render_click(TempoMap.constant(bpm), bars=4, sample_rate_hz=48_000, peak_dbfs=40.0)

    oversampled = signal.resample_poly(samples[:, 0], 8, 1)
    assert 20 * np.log10(np.abs(oversampled).max()) <= CEILING_DBTP


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
    samples = render_click(map_through(anchors, last_bpm=Fraction(120)), bars=20, count_in_bars=0)

    assert len(samples) == 40 * 48_000
    assert not samples[4 * 48_000 :].any()
    assert samples[: 4 * 48_000].any()


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


@pytest.mark.parametrize("block_frames", [1_000, 1_441, 25_715])
def test_in_blocks_it_is_the_same_sample_for_sample(block_frames: int) -> None:
    """Clicks of 60 ms (2880 frames at 48 kHz) lie across one end of a block, or several; fast ones are cut short."""
    for bpm in (112, 900):
        plan = plan_click(TempoMap.constant(bpm), bars=6)
        blocks = list(render_blocks(plan, block_frames=block_frames))
        assert max(len(block) for block in blocks) <= block_frames
        assert np.array_equal(np.concatenate(blocks), next(render_blocks(plan, block_frames=plan.frames)))
