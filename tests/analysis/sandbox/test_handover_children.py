"""What is handed over is made in the confined child, by the same functions as outside of it."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PIL import Image

from analysis.core.errors import RepairError, UnusableFileError
from analysis.handover.repair import Repair
from analysis.handover.sheet import track_of
from analysis.handover.take_place import place_take
from analysis.maps.tempo_map import TempoMap
from analysis.sandbox.handover_children import (
    place_take_in_child,
    repair_in_child,
    sheet_tracks_in_child,
    write_picture_in_child,
)
from tests import signals
from tests.analysis.encoded import write_sound

SOUND_BYTES = 48_000 * 3


def test_a_file_is_corrected_in_the_child(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "0badcafe", signals.noise(), format="WAV")
    repair = Repair(flipped=("Hat.wav",))
    done = repair_in_child(path, tmp_path / "new", repair, name="Hat.wav", sound_bytes=SOUND_BYTES)

    assert (done.file, done.lines) == ("Hat.wav", ("The polarity of Hat.wav was turned over.",))
    before, after = (soundfile.read(one, dtype="int32")[0] for one in (path, tmp_path / "new"))
    assert np.array_equal(after, -before)


def test_what_cannot_be_corrected_leaves_nothing(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "Hat.wav", signals.noise())
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"<html>" * 100)
    for one, repair, words in (
        (path, Repair(true_depth=("Hat.wav",)), "uses all of its bits"),
        (broken, Repair(later_frames=1), "^Hat.wav "),
    ):
        with pytest.raises(RepairError, match=words):
            repair_in_child(one, tmp_path / "new", repair, name="Hat.wav", sound_bytes=SOUND_BYTES)
    assert not (tmp_path / "new").exists()


def test_a_file_longer_than_agreed_is_not_written(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "Hat.wav", signals.noise())
    with pytest.raises(RepairError):
        repair_in_child(path, tmp_path / "new", Repair(frames=9_600_000), name="Hat.wav", sound_bytes=SOUND_BYTES)
    assert not (tmp_path / "new").exists()


def test_the_sheet_of_each_track_that_can_be_read(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "KickIn.wav", signals.noise())
    link, broken = tmp_path / "OHL.wav", tmp_path / "Tom.wav"
    link.symlink_to(path)
    broken.write_bytes(b"no sound")

    assert sheet_tracks_in_child([path, link, broken]) == {"KickIn.wav": track_of(path), "OHL.wav": track_of(link)}


def test_a_take_is_placed_in_the_child(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "mix.wav", signals.noise())
    alone: dict[str, Any] = {"known_s": (0.5,), "music": None, "map": TempoMap.constant("120", "4/4").to_json()}
    assert place_take_in_child(path, **alone) == place_take(
        path, known_s=(0.5,), tempo_map=TempoMap.constant("120", "4/4")
    )
    path.write_bytes(b"no sound")
    with pytest.raises(UnusableFileError):
        place_take_in_child(path, **alone)


def test_a_photograph_is_written_anew_in_the_child(tmp_path: Path) -> None:
    path, to = tmp_path / "kit.png", tmp_path / "kit.jpg"
    Image.new("RGB", (300, 200), "navy").save(path)
    done = write_picture_in_child(path, to)

    with Image.open(to) as image:
        assert (done.width, done.height) == image.size == (300, 200)
    path.write_bytes(b"GIF89a" + bytes(100))
    with pytest.raises(UnusableFileError, match="is no JPEG, PNG or WebP photograph"):
        write_picture_in_child(path, to)
    assert not to.exists()
