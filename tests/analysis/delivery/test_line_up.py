"""A set against a mix of it: distances, clocks, jumps and speeds of known size; another take of the same part."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soxr

from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.delivery import mix_lags
from analysis.delivery.check_results import Check
from analysis.delivery.lag_line import find_jump, fit_line
from analysis.delivery.line_up import lined_up
from analysis.delivery.measured_set import Song, measure_set
from analysis.delivery.mix_fit import Fit, fit_lag
from tests.analysis.encoded import write_sound

RATE_HZ, LENGTH_S = 48_000, 16.0
TIME = np.arange(int(0.15 * RATE_HZ)) / RATE_HZ


def played(seed: int, *, scatter_s: float = 0.01) -> dict[str, Samples]:
    """Kick and snare in turn, two strokes a second, each other noise, 10 ms around their beats; an overhead hears both
    1 m later (140 frames)."""
    rng = np.random.default_rng(seed)
    tracks = {name: np.zeros(int(LENGTH_S * RATE_HZ), np.float32) for name in ("KickIn", "SnTop")}
    for number, beat_s in enumerate(np.arange(0.5, LENGTH_S - 1, 0.5)):
        hz, name = ((60, "KickIn"), (190, "SnTop"))[number % 2]
        stroke = (np.sin(2 * np.pi * hz * TIME) + 0.5 * rng.standard_normal(len(TIME))) * np.exp(-TIME / 0.03)
        at = round((beat_s + rng.normal(0, scatter_s)) * RATE_HZ)
        tracks[name][at : at + len(stroke)] += 0.3 * stroke.astype(np.float32)
    both = tracks["KickIn"] + tracks["SnTop"]
    overhead = 0.3 * np.concatenate([np.zeros(140, np.float32), both[:-140]])
    return {name: track[:, None] for name, track in (tracks | {"OHL": overhead}).items()}


def mix_of(tracks: dict[str, Samples]) -> Samples:
    """Each as loud as somebody likes it, one turned over."""
    return np.asarray(0.5 * tracks["KickIn"] - 0.8 * tracks["SnTop"] + 0.9 * tracks["OHL"], np.float32)


def found(folder: Path, tracks: dict[str, Samples], mix: Samples) -> dict[str, Check]:
    paths = [write_sound(folder / f"{name}.wav", track, RATE_HZ) for name, track in tracks.items()]
    measured = measure_set(paths, Song(against=write_sound(folder / "mix.wav", mix, RATE_HZ)), Limits())
    checks: Iterator[Check] = iter(lined_up(measured))
    return {check.code: check for check in checks}


def late(track: Samples, frames: int) -> Samples:
    return np.concatenate([np.zeros((frames, 1), np.float32), track[:-frames]])


@pytest.mark.parametrize("frames", [2, 48, 1_024, 150_000])
def test_a_late_set_is_found_to_the_sample(tmp_path: Path, frames: int) -> None:
    tracks = played(1)
    checks = found(tmp_path, {name: late(track, frames) for name, track in tracks.items()}, mix_of(tracks))

    assert (checks["lined-up"].passed, checks["lined-up"].value) == (False, frames)
    assert checks["lined-up"].low is not None
    assert checks["lined-up"].high is not None
    assert checks["lined-up"].low <= frames <= checks["lined-up"].high
    assert checks["drift"].passed


def test_a_set_in_place_passes_under_music(tmp_path: Path) -> None:
    tracks = played(2)
    time = np.arange(int(LENGTH_S * RATE_HZ))[:, None] / RATE_HZ
    music = sum(0.1 * np.sin(2 * np.pi * hz * time) for hz in (110, 165, 220, 277))
    checks = found(tmp_path, tracks, 0.5 * mix_of(tracks) + np.asarray(music, np.float32))

    assert {code: check.passed for code, check in checks.items()} == {"lined-up": True, "drift": True}
    assert checks["lined-up"].value == 0


def test_a_set_in_place_is_found_where_the_rough_look_misleads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Loud places under loud music may each fit elsewhere; a good set lies at nought."""
    astray = tuple(Fit(4.0 * place, 60_000.0 * place, 0.06, 200.0) for place in range(1, 4))
    monkeypatch.setattr(mix_lags, "_rough", lambda *_: astray)
    tracks = played(2)

    assert found(tmp_path, tracks, mix_of(tracks))["lined-up"].value == 0


def test_one_clear_window_of_another_take_makes_no_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen of loose playing 0.3 BPM slower: one window in eleven, 0.6 % explained."""
    monkeypatch.setattr(mix_lags, "follow", lambda *_: (Fit(9.0, 1_422.0, 0.006, 30.0),))
    checks = found(tmp_path, played(2), mix_of(played(9)))

    assert {code: check.passed for code, check in checks.items()} == {"same-take": False}


@pytest.mark.parametrize("ppm", [-200, 60])
def test_a_clock_that_runs_off(tmp_path: Path, ppm: float) -> None:
    tracks = played(3)
    factor = 1 + ppm / 1e6
    slow = {name: soxr.resample(track, RATE_HZ, RATE_HZ * factor) for name, track in tracks.items()}
    checks = found(tmp_path, slow, mix_of(tracks))

    assert checks["lined-up"].passed
    assert (checks["drift"].passed, checks["drift"].value) == (False, pytest.approx(ppm, abs=2))


def test_a_jump_is_named_with_its_place(tmp_path: Path) -> None:
    tracks = played(4)
    at = int(8.25 * RATE_HZ)
    cut = {name: np.concatenate([track[:at], late(track, 960)[at:]]) for name, track in tracks.items()}
    checks = found(tmp_path, cut, mix_of(tracks))

    assert (checks["break"].passed, checks["break"].value) == (False, pytest.approx(20))
    assert checks["break"].place_s == pytest.approx(8.25, abs=1.6)


@pytest.mark.parametrize(("from_hz", "to_hz"), [(44_100, 48_000), (48_000, 44_100)])
def test_a_wrong_rate_is_named_by_its_factor(tmp_path: Path, from_hz: int, to_hz: int) -> None:
    """Recorded at one rate, played at the other: 44.1 read as 48 is 1.088435 times as fast (trade arithmetic)."""
    tracks = played(5)
    fast = {name: soxr.resample(track, to_hz, from_hz) for name, track in tracks.items()}
    checks = found(tmp_path, fast, mix_of(tracks))

    assert list(checks) == ["speed"]
    assert (checks["speed"].passed, checks["speed"].value) == (False, pytest.approx(to_hz / from_hz, abs=1e-5))


def test_another_take_of_the_same_part_is_told_apart(tmp_path: Path) -> None:
    checks = found(tmp_path, played(7), mix_of(played(6)))

    assert list(checks) == ["same-take"]
    assert not checks["same-take"].passed
    assert "another take" in checks["same-take"].message


def test_a_line_through_most_lags() -> None:
    """Two frames a second from 5 on, one window far off."""
    times = np.arange(10.0)
    lags = 5 + 2 * times
    lags[4] = 400

    line = fit_line(times, lags)

    assert [line.at_start, line.slope, line.held] == pytest.approx([5, 2, 0.9])
    assert find_jump(times, lags) is None


def test_a_jump_between_two_levels() -> None:
    jump = find_jump(np.arange(8.0), np.array([1, 1, 1, 1, 1, 97, 97, 97.0]))

    assert jump is not None
    assert (jump.time_s, jump.before_frames, jump.after_frames) == (5.0, 1.0, 97.0)


def test_a_fit_reads_the_lag_whatever_the_gains() -> None:
    noise = np.random.default_rng(1).standard_normal((2, 9_000)).astype(np.float32)
    fit = fit_lag(0.2 * noise[0, 300:5_300] - 0.7 * noise[1, 300:5_300], noise)

    assert fit is not None
    assert fit[0] == pytest.approx(300, abs=0.1)
    assert fit[1] == pytest.approx(1, abs=0.01)
    assert fit_lag(np.zeros(100, np.float32), noise) is None


def test_a_set_of_48_seconds_is_looked_at_throughout(tmp_path: Path) -> None:
    """Loudness by the second is kept in an array that grows by doubling: longer than the set."""
    tracks = {name: np.concatenate([track, track, track]) for name, track in played(8).items()}

    assert found(tmp_path, tracks, mix_of(tracks))["lined-up"].value == 0
