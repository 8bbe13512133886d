"""The rendered click: every onset on its frame, never louder than its ceiling."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.click import CEILING_DBTP, DEFAULT_PEAK_DBFS, plan_click, render_click
from analysis.tempo_map import TempoMap

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
