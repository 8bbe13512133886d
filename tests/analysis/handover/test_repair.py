"""Repairs are exact: every sample that stays is the one that was."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from analysis.core.errors import RepairError
from analysis.core.samples import Samples
from analysis.handover import repair
from analysis.handover.repair import Repair, repair_file, repair_set
from analysis.media.broadcast import Broadcast, create_broadcast
from analysis.media.reader import open_media
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
    assert [item.lines for item in done] == [
        ("One sample was cut off at the end of Hat.wav.",),
        (),
        ("1000 samples of silence were added at the end of OH.wav.",),
    ]
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
    for wanted, out in (
        (Repair(true_depth=("Hat.wav",)), tmp_path / "out"),
        (Repair(flipped=("Snare.wav",)), tmp_path / "out"),
        (Repair(), tmp_path),
    ):
        with pytest.raises(RepairError):
            repair_set(paths, out, wanted)
    assert not (tmp_path / "out").exists()


def test_what_was_written_is_read_back_and_compared(
    paths: list[Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bit of one sample that is written otherwise is found: the last byte is the last word's."""
    closed = create_broadcast

    @contextmanager
    def breaking(path: Path, **options: Any) -> Iterator[Any]:
        with closed(path, **options) as writer:
            yield writer
        content = bytearray(path.read_bytes())
        content[-1] ^= 1
        path.write_bytes(content)

    monkeypatch.setattr(repair, "create_broadcast", breaking)
    with pytest.raises(RepairError, match="bit for bit"):
        repair_file(paths[1], tmp_path / "new.wav", Repair(flipped=("Kick.wav",)), name="Kick.wav")


def test_one_file_under_the_name_it_has_in_the_set(paths: list[Path], tmp_path: Path) -> None:
    """Negative full scale has no counterpart: it is held one step lower, and counted."""
    samples = np.full((1_000, 1), -1.0)
    path = write_sound(tmp_path / "0badcafe", samples, format="WAV")
    done = repair_file(path, tmp_path / "new", Repair(flipped=("Tom 1.aif",)), name="Tom 1.aif")

    assert (done.file, done.held_samples) == ("Tom 1.wav", 1_000)
    assert done.lines == ("The polarity of Tom 1.aif was turned over.", "Tom 1.aif is stored as Tom 1.wav.")
    assert (words(tmp_path / "new") == (2**23 - 1) << 8).all()


@pytest.mark.parametrize("stamp", [None, 0, 172_800_000])
def test_a_time_reference_stays_and_none_is_added(tmp_path: Path, stamp: int | None) -> None:
    broadcast = None if stamp is None else Broadcast(time_reference_frames=stamp)
    facts = {"sample_rate_hz": 48_000, "channels": 1, "bit_depth": 24, "frames": 4_800}
    with create_broadcast(tmp_path / "Hat.wav", **facts, broadcast=broadcast) as writer:
        writer.write(signals.noise(duration_s=0.1))
    repair_set([tmp_path / "Hat.wav"], tmp_path / "out", Repair(frames=4_803))
    with open_media(tmp_path / "out" / "Hat.wav") as media:
        assert media.tags.get("time_reference_frames") == stamp
