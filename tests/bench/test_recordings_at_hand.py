import argparse
from pathlib import Path

import numpy as np
import pytest

from bench.files import alarms, second_opinion
from tests import signals
from tests.analysis.encoded import write_sound


def recording(path: Path) -> Path:
    return write_sound(path, signals.noise(duration_s=22.0, channels=2) * np.linspace(0.1, 1.0, 22 * 48_000)[:, None])


def test_both_meters_hear_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = recording(tmp_path / "mix.wav")
    ours, theirs = second_opinion.read_ours(path), second_opinion.read_theirs(path)
    second_opinion.run(argparse.Namespace(folders=[tmp_path]))

    assert ours.loudness_lufs == pytest.approx(theirs.loudness_lufs, abs=0.1)  # Source: EBU Tech 3341 v4, tolerance
    assert ours.true_peak_dbtp == pytest.approx(theirs.true_peak_dbtp, abs=0.2)
    assert "1 recordings; furthest apart" in capsys.readouterr().out


def test_each_recording_is_checked_alone_and_parts_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    recording(tmp_path / "bass.wav")
    write_sound(tmp_path / "keys.wav", signals.clipped_tone(duration_s=22.0, channels=2))
    alarms.run(argparse.Namespace(folders=[tmp_path], findings=False))
    printed = capsys.readouterr().out

    assert "2 recordings alone, 1 songs of parts" in printed
    assert "stop clipped" in printed


@pytest.mark.parametrize("run", [alarms.run, second_opinion.run])
def test_without_recordings_it_says_what_it_needs(run: object, capsys: pytest.CaptureFixture[str]) -> None:
    assert callable(run)
    run(argparse.Namespace(folders=[], findings=False))

    assert "Say which folders" in capsys.readouterr().out
