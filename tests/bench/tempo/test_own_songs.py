import json
from pathlib import Path

import soundfile

from bench.tempo.development_set import draw_items
from bench.tempo.known import MANIFEST, read_set
from bench.tempo.own_songs import make_set


def test_the_set_anyone_can_make_holds_its_sound_and_its_truth(tmp_path: Path) -> None:
    folder = make_set(tmp_path / "set", 7, 1)
    (song,), (item,) = read_set(folder), draw_items(7, 1)

    assert song.bpm == float(item.plan.tempo.bpm)
    assert song.is_constant
    assert all(path.exists() for path in song.paths)
    assert song.duration_s == soundfile.info(song.paths[0]).duration
    assert song.beats_s
    assert song.downbeats_s
    assert set(song.downbeats_s[:-1]) <= set(song.beats_s)


def test_a_finished_set_is_kept(tmp_path: Path) -> None:
    line = {"id": "mine", "files": [], "dur": 1.0, "bpm": 100, "constant": True, "kind": "const"}
    (tmp_path / MANIFEST).write_text(json.dumps(line))

    assert [song.name for song in read_set(make_set(tmp_path, 7, 1))] == ["mine"]


def test_a_set_of_some_feels_has_no_others_and_comes_as_mixes() -> None:
    items = draw_items(7, 4, ("waltz", "rolling"))

    assert [item.plan.feel for item in items] == ["waltz", "rolling", "waltz", "rolling"]
    assert {item.sent for item in items} == {"mix"}
