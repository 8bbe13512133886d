"""Repairs are exact: every sample that stays is the one that was."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.core.errors import RepairError
from analysis.core.samples import Samples
from analysis.handover.repair import Repair, repair_set
from tests import signals
from tests.analysis.encoded import write_sound


def words(path: Path) -> Samples:
    return np.asarray(soundfile.read(path, dtype="int32", always_2d=True)[0])


@pytest.fixture
def paths(tmp_path: Path) -> list[Path]:
    tracks = {"Hat": 90_001, "Kick": 90_000, "OH": 89_000}
    return [
        write_sound(tmp_path / f"{name}.wav", signals.noise(duration_s=2.0, seed=seed)[:frames])
        for seed, (name, frames) in enumerate(tracks.items())
    ]


def test_one_length_for_all(paths: list[Path], tmp_path: Path) -> None:
    done = repair_set(paths, tmp_path / "out", Repair(frames=90_000))

    assert [item.frames for item in done] == [90_000] * 3
    assert [len(item.lines) for item in done] == [1, 0, 1]
    assert np.array_equal(words(tmp_path / "out/Hat.wav"), words(paths[0])[:90_000])
    assert np.array_equal(words(tmp_path / "out/OH.wav")[:89_000], words(paths[2]))
    assert not words(tmp_path / "out/OH.wav")[89_000:].any()


@pytest.mark.parametrize("later", [480, -480, 70_000])
def test_the_whole_set_moves(paths: list[Path], tmp_path: Path, later: int) -> None:
    repair_set(paths, tmp_path / "out", Repair(later_frames=later, frames=170_000))

    for path in paths:
        due = np.zeros((170_000, 1), np.int32)
        own = words(path)[max(0, -later) :]
        due[max(0, later) : max(0, later) + len(own)] = own
        assert np.array_equal(words(tmp_path / "out" / path.name), due)


def test_one_track_is_turned_over_and_the_others_stay(paths: list[Path], tmp_path: Path) -> None:
    before = [path.read_bytes() for path in paths]
    done = repair_set(paths, tmp_path / "out", Repair(flipped=("Kick.wav",)))

    assert np.array_equal(words(tmp_path / "out/Kick.wav"), -words(paths[1]))
    assert np.array_equal(words(tmp_path / "out/Hat.wav"), words(paths[0]))
    assert [bool(item.lines) for item in done] == [False, True, False]
    assert [path.read_bytes() for path in paths] == before


def test_unused_bits_go(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "Hat.wav", np.rint(signals.noise() * 2**15) / 2**15)
    (done,) = repair_set([path], tmp_path / "out", Repair(true_depth=("Hat.wav",)))

    assert done.bit_depth == 16
    assert soundfile.info(tmp_path / "out/Hat.wav").subtype == "PCM_16"
    assert np.array_equal(words(tmp_path / "out/Hat.wav"), words(path))


def test_what_would_change_the_sound_or_write_over_is_refused(paths: list[Path], tmp_path: Path) -> None:
    for repair, out in (
        (Repair(true_depth=("Hat.wav",)), tmp_path / "out"),
        (Repair(flipped=("Snare.wav",)), tmp_path / "out"),
        (Repair(), tmp_path),
    ):
        with pytest.raises(RepairError):
            repair_set(paths, out, repair)
    assert not (tmp_path / "out").exists()
