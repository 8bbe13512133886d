"""Tools run in processes of their own; answers are kept until the tool or the files change."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.bars.weighing import WEIGHTS_PATH
from bench.tempo import answers, readers
from bench.tempo.answers import ask
from bench.tempo.fit_choice import fold_of
from bench.tempo.known import Known


def song(folder: Path, name: str = "click") -> Known:
    path = folder / f"{name}.wav"
    sound = np.zeros(8_000 * 12, np.float32)
    sound[4_000::4_000] = 0.8
    soundfile.write(path, sound, 8_000)
    return Known(name, "click", 120.0, paths=(path,), duration_s=12.0)


def test_an_answer_is_the_tools_own_and_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    same = dataclasses.replace(readers.TOOLS["kitpost"], version=lambda: "same")
    monkeypatch.setitem(readers.TOOLS, "kitpost", same)
    one = song(tmp_path)
    first = ask("kitpost", [one], tmp_path / "kept")[0]
    again = ask("kitpost", [one], tmp_path / "kept")[0]

    assert first.reading.bpm == pytest.approx(120, abs=0.01)
    assert first.reading.are_clicks == (True,)
    assert first.cpu_s > 0
    assert again == dataclasses.replace(first, is_kept=True)


def test_a_changed_tool_is_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = song(tmp_path)
    ask("kitpost", [one], tmp_path / "kept")
    newer = dataclasses.replace(readers.TOOLS["kitpost"], version=lambda: "newer")
    monkeypatch.setitem(readers.TOOLS, "kitpost", newer)

    assert not ask("kitpost", [one], tmp_path / "kept")[0].is_kept


def test_with_folds_a_song_is_read_with_the_weights_that_never_saw_its_pattern(tmp_path: Path) -> None:
    one = dataclasses.replace(song(tmp_path), group="song1", style="waltz")
    fold = fold_of({"group": "song1", "style": "waltz"})
    (tmp_path / "folds").mkdir()
    (tmp_path / "folds" / f"fold{fold}.json").write_text(WEIGHTS_PATH.read_text())
    ask("kitpost", [one], tmp_path / "kept")
    held_out = ask("kitpost", [one], tmp_path / "kept", tmp_path / "folds")[0]

    assert not held_out.is_kept
    assert held_out.reading.bpm == pytest.approx(120, abs=0.01)


def test_a_file_that_cannot_be_read_ends_the_run_with_its_name(tmp_path: Path) -> None:
    path = tmp_path / "torn.wav"
    path.write_bytes(b"RIFF")

    with pytest.raises(SystemExit, match=r"^librosa broke off at torn: "):
        ask("librosa", [Known("torn", "click", 120.0, paths=(path,))], tmp_path / "kept")


def test_tools_that_pool_nothing_get_the_sum_of_the_stems(tmp_path: Path) -> None:
    one, two = song(tmp_path, "one"), song(tmp_path, "two")
    both = dataclasses.replace(one, paths=(*one.paths, *two.paths))
    mix, rate = soundfile.read(answers._one_file(both, tmp_path))

    assert rate == 8_000
    assert mix.max() == pytest.approx(0.9, abs=1e-3)
    assert np.flatnonzero(mix).tolist() == list(range(4_000, 96_000, 4_000))


def test_kept_answers_are_lines_of_json(tmp_path: Path) -> None:
    ask("kitpost", [song(tmp_path)], tmp_path / "kept")
    line = json.loads((tmp_path / "kept" / "kitpost.jsonl").read_text())

    assert set(line) == {"key", "reading", "cpu_s", "peak_mb"}
