"""A whole set and one close microphone in it, each late by a known number of frames, against a mix of good tracks.

The snare's own microphone is what the mix holds most of; without it the overheads, which hear the snare 128 frames
after it (`made_kit.py`), would explain the mix there.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from analysis.core.samples import Samples
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.line_up import lined_up
from analysis.delivery.measured_set import Song, measure_set
from analysis.delivery.verify import verify_set
from tests.analysis.delivery.made_kit import RATE_HZ, kit, late, write_kit
from tests.analysis.encoded import write_sound

GAINS = {"KickIn": 0.3, "SnTop": 0.6, "Hat": 0.05, "OHL": 0.25, "OHR": 0.25, "RmL": 0.1, "RmR": 0.1}


def in_a_room(tracks: dict[str, Samples]) -> dict[str, Samples]:
    """Each microphone with 25 reflections of its own within 600 frames, fading out."""
    found = {}
    for number, (name, track) in enumerate(tracks.items()):
        rng = np.random.default_rng([5, number])
        answer = np.zeros(600)
        answer[rng.integers(8, 600, 25)] = 0.22 * rng.standard_normal(25) * np.exp(-np.arange(25) / 18)
        answer[0] = 1.0
        found[name] = 0.7 * signal.fftconvolve(track[:, 0], answer)[: len(track), None]
    return found


def checked(folder: Path, tracks: dict[str, Samples], mix: Samples) -> list[Check]:
    against = write_sound(folder / "rough.wav", mix, RATE_HZ)
    return list(verify_set(write_kit(folder / "set", tracks), against=against).checks)


def mixed(tracks: dict[str, Samples]) -> Samples:
    return np.asarray(sum(gain * tracks[name] for name, gain in GAINS.items()))


def moved(tracks: dict[str, Samples], set_frames: int, **own: int) -> dict[str, Samples]:
    return {name: late(track, set_frames + own.get(name, 0)) for name, track in tracks.items()}


@pytest.mark.parametrize(("room", "set_frames"), [(False, 0), (True, 0), (False, -150), (True, 480)])
def test_a_late_snare_is_named_and_the_set_lies_where_the_others_do(
    tmp_path: Path, *, room: bool, set_frames: int
) -> None:
    tracks = {name: track for name, track in (in_a_room(kit()) if room else kit()).items() if name in GAINS}
    checks = checked(tmp_path, moved(tracks, set_frames, SnTop=48), mixed(tracks))

    assert [(one.file, one.value) for one in checks if one.code == "arrival" and not one.passed] == [("SnTop.wav", 48)]
    assert [(one.value, one.passed) for one in checks if one.code == "lined-up"] == [(set_frames, set_frames == 0)]
    assert not any(one.code in ("same-take", "break") for one in checks)
    assert not any("without a mix" in one.message for one in checks)


def test_where_nobody_knows_how_late_it_is_there_is_no_figure(tmp_path: Path) -> None:
    """Left out, the snare would seem to put the whole set elsewhere."""
    tracks = {name: track for name, track in kit().items() if name in ("SnTop", "OHL", "OHR")}
    against = write_sound(tmp_path / "rough.wav", mixed_loud_snare(tracks), RATE_HZ)
    measured = measure_set(write_kit(tmp_path / "set", tracks), Song(against=against), Limits())
    roughly = Check("arrival", "SnTop.wav", passed=False, value=90, limit=0, low=40, high=140)
    (check,) = lined_up(measured, [roughly])

    assert (check.code, check.value, check.undecided) == ("lined-up", None, True)
    assert check.message == "Can't tell whether the set lines up with rough.wav while SnTop.wav lies elsewhere."
    assert [one.value for one in lined_up(measured) if one.code == "lined-up"] == [0]


def mixed_loud_snare(tracks: dict[str, Samples]) -> Samples:
    return np.asarray(0.7 * tracks["SnTop"] + 0.05 * (tracks["OHL"] + tracks["OHR"]))
