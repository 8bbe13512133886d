"""One track late in a kit of known geometry: exact where a mix is there, an interval that holds the truth without."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.core.samples import Samples
from analysis.delivery.arrival import arrival
from analysis.delivery.measured_set import Song
from tests import signals
from tests.analysis.delivery.asked import ask, failed
from tests.analysis.delivery.made_kit import RATE_HZ, kit, late, mix_of
from tests.analysis.encoded import write_sound


def song_with(mix_folder: Path, samples: Samples) -> Song:
    return Song(against=write_sound(mix_folder / "rough.wav", samples, RATE_HZ))


def test_a_good_set_lies_in_its_mix(tmp_path: Path) -> None:
    tracks = kit()
    (check,) = ask(arrival, tmp_path, tracks, song_with(tmp_path, mix_of(tracks)))

    assert (check.passed, check.undecided, check.value) == (True, False, 0)


@pytest.mark.parametrize(("name", "frames"), [("SnTop", 1), ("KickIn", 48), ("RmL", 512)])
def test_one_late_track_is_said_to_the_sample(tmp_path: Path, name: str, frames: int) -> None:
    tracks = kit()
    song = song_with(tmp_path, mix_of(tracks))
    checks = ask(arrival, tmp_path, tracks | {name: late(tracks[name], frames)}, song)

    assert [(check.file, check.value) for check in checks if not check.passed] == [(f"{name}.wav", frames)]


def test_music_in_the_mix_is_explained_by_the_clients_file(tmp_path: Path) -> None:
    """Under far louder noise nobody can tell how late a kick is, until the file that the noise came from is there."""
    tracks = kit()
    music = write_sound(tmp_path / "music.wav", signals.noise(duration_s=6.0), RATE_HZ)
    song = song_with(tmp_path, mix_of(tracks) * 0.3 + signals.noise(duration_s=6.0) * 0.5)
    kick_late = tracks | {"KickIn": late(tracks["KickIn"], 960)}

    (without,) = ask(arrival, tmp_path, kick_late, song)
    (check,) = ask(arrival, tmp_path, kick_late, replace(song, originals=(music,)))

    assert without.undecided
    assert (check.file, check.low, check.value, check.high) == ("KickIn.wav", 960, 960, 960)


def test_loud_stretches_do_not_outvote_what_quiet_ones_show(tmp_path: Path) -> None:
    """A loud stretch of the mix holds noise, and a little that looks like the snare 128 samples early; all of the quiet
    one is explained by the snare in its place."""
    tracks = {name: np.concatenate([track, 0.03 * track]) for name, track in kit().items()}
    mix = mix_of(tracks)
    first = slice(0, len(mix) // 2)
    ghost = mix_of({name: late(track, -128) if name == "SnTop" else track for name, track in tracks.items()})
    mix[first] = ghost[first] + 0.05 * signals.noise(duration_s=6.0)
    checks = ask(arrival, tmp_path, tracks, song_with(tmp_path, mix))

    assert failed(checks) == []


def test_a_whole_set_that_is_late_is_no_fault_of_one_track(tmp_path: Path) -> None:
    tracks = kit()
    song = song_with(tmp_path, mix_of(tracks))
    checks = ask(arrival, tmp_path, {name: late(track, 480) for name, track in tracks.items()}, song)

    assert failed(checks) == []


def test_a_mix_of_something_else_cannot_tell(tmp_path: Path) -> None:
    checks = ask(arrival, tmp_path, kit(), song_with(tmp_path, signals.noise(duration_s=6.0)))

    assert failed(checks) == []
    assert all(check.undecided for check in checks)


@pytest.mark.parametrize("name", ["SnTop", "OHL"])
def test_without_a_mix_distances_say_it_roughly(tmp_path: Path, name: str) -> None:
    tracks = kit()
    checks = ask(arrival, tmp_path, tracks | {name: late(tracks[name], 1_024)})

    mine = [check for check in checks if not check.passed and check.file == f"{name}.wav"]
    assert any(check.low is not None and check.high is not None and check.low <= 1_024 <= check.high for check in mine)


def test_without_a_mix_a_good_set_is_not_called_good(tmp_path: Path) -> None:
    (check,) = ask(arrival, tmp_path, kit())

    assert check.undecided


def test_a_cut_in_one_track_moves_what_follows(tmp_path: Path) -> None:
    tracks = kit()
    song = song_with(tmp_path, np.concatenate([mix_of(tracks)] * 4))
    long = {name: np.concatenate([track] * 4) for name, track in tracks.items()}
    cut = long["SnTop"].copy()
    cut[600_000:-400] = cut[600_400:]
    checks = ask(arrival, tmp_path, long | {"SnTop": cut}, song)

    assert {check.file for check in checks if not check.passed} == {"SnTop.wav"}
    assert -400 in [check.value for check in checks]
