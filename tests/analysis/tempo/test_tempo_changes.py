"""Steady music, drift, a change of tempo and an ending that slows are told apart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.tempo.clock import Clock
from analysis.tempo.evidence import Evidence, pool
from analysis.tempo.tempo_changes import find_motion
from tests.analysis.playing import band, features_of, measured, song_file


def evidence(beats_s: NDArray[Any]) -> Evidence:
    pooled = pool([features_of(band(beats_s))])
    assert pooled is not None
    return pooled


def unevenness_ms(clock: Clock | None, beats_s: NDArray[Any]) -> float:
    """How far the true beats lie off an even grid on this clock."""
    even = clock.to_even(beats_s) if clock else beats_s
    count = np.arange(len(even))
    return float(1000 * np.abs(even - np.polyval(np.polyfit(count, even, 1), count)).max())


def test_steady_music_is_left_alone() -> None:
    assert find_motion(evidence(0.5 + np.arange(97) * 0.5)).kind == "steady"


def test_a_drift_is_followed_to_some_milliseconds() -> None:
    beats = 0.5 + np.cumsum(0.5 / (1 + 0.03 * np.sin(2 * np.pi * np.arange(110) / 60)))

    motion = find_motion(evidence(beats))

    assert motion.kind == "drift"
    assert unevenness_ms(motion.clock, beats[4:-4]) < 25


@pytest.mark.parametrize("ratio", [0.92, 1.05])
def test_a_step_is_placed_within_a_bar(ratio: float) -> None:
    beats = np.concatenate([0.5 + np.arange(56) * 0.5, 28.5 + np.arange(57) * 0.5 / ratio])

    motion = find_motion(evidence(beats))

    assert motion.kind == "step"
    assert motion.step_s == pytest.approx(28.5, abs=2.0)
    assert unevenness_ms(motion.clock, beats) < 15


def test_an_ending_that_slows_down_is_mapped() -> None:
    steady = 0.5 + np.arange(80) * 0.5
    slower = 0.5 / (1 - 0.35 * np.arange(1, 9) / 8)
    beats = np.concatenate([steady, steady[-1] + np.cumsum(slower)])

    song = measured(song_file(band(beats))).song

    assert song.tempo.kind == "map"
    assert song.tempo.bpm == pytest.approx(120, abs=0.1)
    found = np.array(song.beats_s)
    assert max(np.abs(found - beat).min() for beat in beats[:-1]) < 0.07


def test_a_clock_turns_times_there_and_back() -> None:
    clock = Clock(np.array([0.0, 10.0, 20.0]), np.array([0.0, 8.0, 20.0]))
    times = np.array([-3.0, 0.0, 4.0, 10.0, 13.0, 20.0, 25.0])

    assert clock.to_real(clock.to_even(times)) == pytest.approx(times)
    assert clock.to_even(np.array([5.0]))[0] == pytest.approx(4.0)
