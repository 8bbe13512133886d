"""Some bars with the click on top. Places are arithmetic: frame = seconds × rate."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.maps.click_style import DEFAULT_PEAK_DBFS
from analysis.maps.excerpt import excerpt_plan, excerpt_start_s, write_excerpt
from analysis.maps.tempo_map import TempoMap
from tests.analysis.playing import FREE_MAP

RATE_HZ = 48_000
MAP = TempoMap.constant("100", "4/4", 1.25)  # beats of 0.6 s, bars of 2.4 s


def excerpt_of(tmp_path: Path, *samples: np.ndarray, first_bar: int = 3, bars: int = 8) -> np.ndarray:
    paths = []
    for number, one in enumerate(samples):
        soundfile.write(tmp_path / f"{number}.wav", one, RATE_HZ, "PCM_24")
        paths.append(tmp_path / f"{number}.wav")
    to = tmp_path / "excerpt.flac"
    write_excerpt(paths, MAP, to, first_bar=first_bar, bars=bars, sample_rate_hz=RATE_HZ)
    heard, rate_hz = soundfile.read(to)
    assert rate_hz == RATE_HZ
    return np.asarray(heard)


def test_clicks_lie_on_the_beats_of_the_map_half_a_second_in(tmp_path: Path) -> None:
    """Silence below, so that what sounds is the click: 8 bars of 4 beats, 0.6 s apart, from 0.5 s on."""
    heard = excerpt_of(tmp_path, np.zeros(60 * RATE_HZ))
    loud = np.flatnonzero(np.abs(heard) > 10 ** (-40 / 20))
    onsets = [int(loud[0]), *(int(at) for at in loud[1:][np.diff(loud) > RATE_HZ // 10])]
    expected = [round((0.5 + 0.6 * beat) * RATE_HZ) for beat in range(32)]
    assert len(onsets) == len(expected)
    assert np.abs(np.subtract(onsets, expected)).max() <= 1
    assert len(heard) == (0.5 + 8 * 2.4 + 0.25) * RATE_HZ


def test_music_and_click_stay_together_to_the_sample(tmp_path: Path) -> None:
    """An impulse in the file on bar 4, beat 3 (1.25 + 3 × 2.4 + 2 × 0.6 = 9.65 s); the excerpt starts at 5.55 s."""
    music = np.zeros(60 * RATE_HZ)
    music[round(9.65 * RATE_HZ)] = 0.5
    with_music, without = excerpt_of(tmp_path, music), excerpt_of(tmp_path, music * 0)
    assert float(excerpt_start_s(MAP, 3)) == pytest.approx(5.55)
    assert int(np.argmax(np.abs(with_music - without))) == round((9.65 - 5.55) * RATE_HZ)


def test_stems_are_summed_and_brought_to_the_click_s_level(tmp_path: Path) -> None:
    time = np.arange(30 * RATE_HZ) / RATE_HZ
    heard = excerpt_of(tmp_path, 0.9 * np.sin(2 * np.pi * 220 * time), 0.9 * np.sin(2 * np.pi * 330 * time))
    quiet = heard[round(0.5 * RATE_HZ) - 4_000 : round(0.5 * RATE_HZ) - 1]  # before the first click: music alone
    assert 20 * np.log10(np.abs(quiet).max()) == pytest.approx(DEFAULT_PEAK_DBFS, abs=1.0)
    assert 20 * np.log10(np.abs(heard).max()) <= -5.9


def test_what_lies_before_the_files_is_silence(tmp_path: Path) -> None:
    """Bar -1 would start at 1.25 - 2 × 2.4 - 0.5 = -4.05 s."""
    music = np.zeros(60 * RATE_HZ)
    music[0] = 0.5
    music[RATE_HZ] = 0.5
    difference = excerpt_of(tmp_path, music, first_bar=-1) - excerpt_of(tmp_path, music * 0, first_bar=-1)
    assert int(np.argmax(np.abs(difference))) == round(5.05 * RATE_HZ)


def test_a_free_passage_in_the_excerpt_has_no_click() -> None:
    """Bars 3 to 9 begin at 4 s, so the excerpt at 3.5 s: two bars of 0.5 s beats, then the counted bar from 16.2 s."""
    plan = excerpt_plan(FREE_MAP, first_bar=3, bars=7, sample_rate_hz=RATE_HZ)
    expected_s = [*(4.0 + 0.5 * beat for beat in range(8)), 16.2, 16.8, 17.4, 18.0, 18.6, 19.2]
    assert [onset.frame for onset in plan.onsets] == [round((at_s - 3.5) * RATE_HZ) for at_s in expected_s]
    assert plan.frames == round((19.8 - 3.5 + 0.25) * RATE_HZ)


def test_an_excerpt_that_is_free_throughout_is_silent() -> None:
    """Bars 5 and 6 of the four that last 10 s: 5 s, half a second before and a quarter after."""
    plan = excerpt_plan(FREE_MAP, first_bar=5, bars=2, sample_rate_hz=RATE_HZ)
    assert (plan.onsets, plan.frames, plan.bar_one_frame) == ((), 5.75 * RATE_HZ, 0.5 * RATE_HZ)
