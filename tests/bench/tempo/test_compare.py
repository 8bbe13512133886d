"""The whole comparison over a small set: one click that is right and one whose truth is told wrongly."""

import argparse
import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.tempo import compare as tempo
from bench.tempo.known import MANIFEST
from bench.tempo.readers import TOOLS


def write_set(folder: Path) -> Path:
    folder.mkdir()
    sound = np.zeros(8_000 * 12, np.float32)
    sound[4_000::4_000] = 0.8
    soundfile.write(folder / "click.wav", sound, 8_000)
    item = {"files": ["click.wav"], "dur": 12.0, "constant": True, "kind": "const", "cat": "click", "octave_free": True}
    lines = [{"id": "right", "bpm": 120} | item, {"id": "wrongly-told", "bpm": 100} | item]
    (folder / MANIFEST).write_text("\n".join(json.dumps(line) for line in lines))
    return folder


def compared(tmp_path: Path, beside: str = "") -> None:
    folders = [write_set(tmp_path / "set")]
    options = {"data": tmp_path, "beside": beside, "failures": True, "seed": 1, "songs": 1, "folds": None}
    tempo.run(argparse.Namespace(folders=folders, **options))


def test_prints_shares_and_each_failure_with_its_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    compared(tmp_path)
    printed = capsys.readouterr().out

    assert "2 songs in set" in printed
    assert "Failures: 1 of 2 songs have a fault" in printed
    assert "wrongly-told (click, 100, meter not known, constant; confidence" in printed
    assert "120 for 100, no simple ratio" in printed
    assert "clicks: 2 of 2 recognised" in printed


def test_a_tool_that_is_not_here_is_left_out_and_the_run_says_how_to_get_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    absent = dataclasses.replace(TOOLS["essentia"], version=lambda: None)
    monkeypatch.setitem(TOOLS, "essentia", absent)
    compared(tmp_path, beside="essentia")

    assert "essentia is not here and is left out. To have it: make bench-libraries" in capsys.readouterr().out


def test_a_tool_nobody_knows_is_wrong_usage(tmp_path: Path) -> None:
    with pytest.raises(SystemExit, match="no such tool: guesswork"):
        compared(tmp_path, beside="guesswork")
