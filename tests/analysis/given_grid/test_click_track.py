"""A click is recognised whatever it sounds like; a player who keeps a pulse is not one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.given_grid.click_track import ClickTrack, find_click
from tests.analysis.playing import RATE_HZ, band, features_of

TIME = np.arange(int(0.1 * RATE_HZ)) / RATE_HZ + 0.5 / RATE_HZ
SOUNDS = {
    "beep": np.sin(2 * np.pi * 1000 * TIME) * (TIME < 0.03),
    "tick": np.where(TIME < 0.0006, 1.0, 0.0),
    "noise": np.random.default_rng(3).normal(0, 0.3, len(TIME)) * np.exp(-TIME / 0.01),
    "wood": np.sin(2 * np.pi * 520 * TIME) * np.exp(-TIME / 0.012),
    "long bell": np.sin(2 * np.pi * 2400 * TIME) * np.exp(-TIME / 0.06),
}


def clicks(times: NDArray[Any], sound: str = "beep", *, accent_every: int = 0) -> NDArray[Any]:
    samples = np.zeros((int((times[-1] + 1) * RATE_HZ), 1))
    for index, time in enumerate(times):
        level = 0.5 if accent_every and index % accent_every == 0 else 0.25
        frame = round(time * RATE_HZ)
        samples[frame : frame + len(TIME), 0] += level * SOUNDS[sound]
    return samples


def found(samples: NDArray[Any]) -> ClickTrack:
    click = find_click(features_of(samples))
    assert click is not None
    return click


@pytest.mark.parametrize("sound", SOUNDS)
def test_tempo_and_first_click_are_exact_for_any_sound(sound: str) -> None:
    times = 0.7313 + np.arange(60) * 60 / 113.7

    click = found(clicks(times, sound))

    assert click.period_s is not None
    assert 60 / click.period_s == pytest.approx(113.7, abs=0.001)
    assert click.clicks_s[0] == pytest.approx(times[0], abs=0.0003)


@pytest.mark.parametrize("pitch_hz", [400, 1000, 4000])
@pytest.mark.parametrize("phase", [0.0, 0.25, np.pi / 2])
def test_a_sine_starts_on_its_first_frame_even_when_that_is_zero(pitch_hz: int, phase: float) -> None:
    frames = 12_345 + 24_000 * np.arange(16)
    time = np.arange(1_200) / RATE_HZ
    samples = np.zeros((frames[-1] + RATE_HZ, 1))
    for frame in frames:
        samples[frame : frame + 1_200, 0] = 0.5 * np.sin(2 * np.pi * pitch_hz * time + phase) * np.exp(-time / 0.01)

    assert np.rint(features_of(samples).sharp.times_s * RATE_HZ) == pytest.approx(frames, abs=0)


@pytest.mark.parametrize("beats", [3, 4, 5, 7])
def test_accents_give_the_bar(beats: int) -> None:
    click = found(clicks(0.5 + np.arange(60) * 0.55, accent_every=beats))

    assert (click.clicks_per_bar, click.first_accent) == (beats, 0)


def test_fast_clicks_with_an_accent_every_eight_are_halves_of_the_beat() -> None:
    click = found(clicks(0.5 + np.arange(96) * 0.3, accent_every=8))

    assert (click.clicks_per_beat, click.beats_per_bar) == (2, 4)
    assert np.diff(click.beats_s) == pytest.approx(0.6, abs=1e-4)


def test_a_bare_count_in_of_four_is_a_click() -> None:
    assert len(found(clicks(0.4 + np.arange(4) * 0.5)).clicks_s) == 4


def test_a_gap_is_filled_and_named() -> None:
    times = np.delete(0.5 + np.arange(64) * 0.5, np.arange(24, 32))

    click = found(clicks(times))

    assert len(click.clicks_s) == 64
    assert click.missing[0] == pytest.approx((12.0, 16.5), abs=0.001)


def test_a_change_of_tempo_is_not_called_constant() -> None:
    times = np.concatenate([0.5 + np.arange(32) * 0.5, 16.5 + np.arange(32) * 0.54])

    assert found(clicks(times)).period_s is None


def test_a_player_who_keeps_a_pulse_is_no_click() -> None:
    jitter = np.random.default_rng(7).normal(0, 0.006, 80)

    assert find_click(features_of(clicks(0.5 + np.arange(80) * 0.5 + jitter, "wood"))) is None


def test_an_uneven_pattern_is_no_click() -> None:
    pattern = np.add.outer(np.arange(16) * 2.0, [0.0, 0.75, 1.0, 1.75]).ravel()

    assert find_click(features_of(clicks(0.5 + pattern, "wood"))) is None


def test_a_band_is_no_click() -> None:
    assert find_click(features_of(band(0.5 + np.arange(65) * 0.5))) is None


def test_noise_under_a_click_does_not_hide_it() -> None:
    samples = clicks(0.5 + np.arange(60) * 0.5, accent_every=4)

    samples += np.random.default_rng(1).normal(0, 0.003, samples.shape)

    assert found(samples).clicks_per_bar == 4


def test_evenly_cut_chords_are_music() -> None:
    """Stabs on every eighth, to the sample, of four chords in turn, as a sequenced guitar plays them."""
    chords = ((110, 165, 220), (98, 147, 196), (131, 196, 262), (87, 131, 175))
    samples = np.zeros((int(33 * RATE_HZ), 1))
    for index in range(120):
        frame = round((0.5 + index * 0.25) * RATE_HZ)
        stab = sum(np.sin(2 * np.pi * pitch_hz * TIME) for pitch_hz in chords[index // 8 % 4])
        samples[frame : frame + len(TIME), 0] = np.clip(stab * np.exp(-TIME / 0.04), -0.8, 0.8)

    assert find_click(features_of(samples)) is None


def test_every_other_click_louder_is_a_beat_and_no_bar() -> None:
    """Eighths at 120: the loud ones are the beats."""
    click = found(clicks(0.5 + np.arange(80) * 0.25, "wood", accent_every=2))

    assert click.beats_per_bar is None
    assert np.diff(click.beats_s)[0] == pytest.approx(0.5, abs=1e-4)
