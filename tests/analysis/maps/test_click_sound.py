"""The click as samples: where each sound begins, how loud it is, and that nothing passes the ceiling."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.maps.click import plan_click
from analysis.maps.click_sound import render_blocks, render_plan
from analysis.maps.click_style import CEILING_DBTP, DEFAULT_PEAK_DBFS, HIGHEST_PEAK_DBFS, SOUNDS, ClickStyle
from analysis.maps.tempo_map import TempoMap
from tests.analysis.clicks import render_click


def peak_dbfs(samples: NDArray[Any]) -> float:
    return float(20 * np.log10(np.abs(samples).max()))


@pytest.mark.parametrize("sound", SOUNDS)
@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_the_default_peak_is_minus_twelve(sound: str, rate_hz: int) -> None:
    samples = render_click(TempoMap.constant(112), bars=2, sample_rate_hz=rate_hz, style=ClickStyle(sound=sound))

    assert peak_dbfs(samples) == pytest.approx(DEFAULT_PEAK_DBFS, abs=0.01)


@pytest.mark.parametrize("sound", SOUNDS)
@pytest.mark.parametrize("bpm", [60, 300, 1000])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_no_setting_passes_the_ceiling(sound: str, bpm: int, rate_hz: int) -> None:
    """Between the samples too: eight times oversampled (ITU-R BS.1770-5, Annex 2, asks for four or more)."""
    style = ClickStyle(sound=sound, subdivision="sixteenth", peak_dbfs=40.0)
    samples = render_click(TempoMap.constant(bpm), bars=2, count_in_bars=0, sample_rate_hz=rate_hz, style=style)

    assert peak_dbfs(samples) == pytest.approx(HIGHEST_PEAK_DBFS, abs=0.01)
    assert peak_dbfs(signal.resample_poly(samples[:, 0], 8, 1)) <= CEILING_DBTP


@pytest.mark.parametrize("sound", SOUNDS)
def test_every_click_sounds_from_its_own_frame_on_at_16_bits(sound: str) -> None:
    """The first sample is more than half a step of 16 bits, so that it is there at any depth."""
    style = ClickStyle(sound=sound, subdivision="triplet")
    plan = plan_click(TempoMap.constant("93.7"), bars=2, sample_rate_hz=192_000, style=style)
    samples = render_plan(plan, style=style)[:, 0]

    assert all(abs(samples[onset.frame]) > 2.0**-16 for onset in plan.onsets)
    assert all(samples[onset.frame - 1] == 0.0 for onset in plan.onsets if onset.frame)


def test_bar_lines_are_louder_than_beats_and_beats_than_what_lies_between() -> None:
    style = ClickStyle(subdivision="eighth")
    plan = plan_click(TempoMap.constant(60), bars=1, count_in_bars=0, style=style)
    samples = render_plan(plan, style=style)
    accent, part, beat = (peak_dbfs(samples[plan.onsets[number].frame :][:4_800]) for number in range(3))

    assert (accent, beat, part) == pytest.approx((-12.0, -17.0, -23.0), abs=0.01)


def test_the_sounds_differ() -> None:
    made = [render_click(TempoMap.constant(120), bars=1, style=ClickStyle(sound=sound)) for sound in SOUNDS]

    assert len({samples.tobytes() for samples in made}) == len(SOUNDS)


@pytest.mark.parametrize("block_frames", [1_000, 1_441, 25_715])
def test_in_blocks_it_is_the_same_sample_for_sample(block_frames: int) -> None:
    """Clicks of 60 ms (2880 frames at 48 kHz) lie across one end of a block, or several; fast ones are cut short."""
    for bpm in (112, 900):
        plan = plan_click(TempoMap.constant(bpm), bars=6)
        blocks = list(render_blocks(plan, block_frames=block_frames))
        assert max(len(block) for block in blocks) <= block_frames
        assert np.array_equal(np.concatenate(blocks), next(render_blocks(plan, block_frames=plan.frames)))
