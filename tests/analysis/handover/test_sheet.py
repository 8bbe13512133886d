"""The client checks what arrived against the sheet."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.delivery.check_results import Check, VerifyReport
from analysis.handover.sheet import Sheet, SheetWords, check_against, make_sheet
from analysis.maps.tempo_map import TempoMap
from tests import signals
from tests.analysis.encoded import write_sound

NAMES = ("Hat", "KickIn", "OHL")


@pytest.fixture
def paths(tmp_path: Path) -> list[Path]:
    return [
        write_sound(tmp_path / f"{name}.wav", signals.noise(duration_s=8.0, seed=seed))
        for seed, name in enumerate(NAMES)
    ]


def sheet_of(paths: list[Path]) -> Sheet:
    report = VerifyReport(passed=True, checks=(Check("length", "Hat.wav", passed=True, value=384_000),))
    words = SheetWords(title="Slow Copper Morning", microphones={"Hat.wav": "small diaphragm"})
    sheet = make_sheet(paths, report, tempo_map=TempoMap.constant("120", "4/4"), words=words)
    return Sheet.from_json(json.loads(json.dumps(sheet.to_json())))


def said(checks: tuple[Check, ...]) -> list[tuple[str, str | None, object]]:
    return [(check.code, check.file, check.value) for check in checks if not check.passed]


def test_the_sheet_says_what_was_sent(paths: list[Path]) -> None:
    sheet = sheet_of(paths)

    assert [track.channel for track in sheet.tracks] == ["hi-hat", "kick, inside", "overhead, left"]
    assert (sheet.tracks[0].microphone, sheet.tracks[0].frames) == ("small diaphragm", 384_000)
    assert (sheet.bar_one_frame, sheet.checks[0].value) == (0, 384_000)


def test_what_arrived_unchanged_passes(paths: list[Path]) -> None:
    checks = check_against(paths, sheet_of(paths))

    assert [check.passed for check in checks] == [True] * 3
    assert all("bit for bit" in check.message for check in checks)


def test_the_same_sound_in_another_container_passes(paths: list[Path], tmp_path: Path) -> None:
    sheet = sheet_of(paths)
    write_sound(paths[0], signals.noise(duration_s=8.0), format="WAVEX")
    checks = check_against(paths, sheet)

    assert said(checks) == []
    assert "written anew" in checks[0].message


def test_a_moved_and_shorter_file_is_said_to_the_sample(paths: list[Path]) -> None:
    sheet = sheet_of(paths)
    samples = signals.noise(duration_s=8.0)
    write_sound(paths[0], np.concatenate([np.zeros((480, 1)), samples])[: len(samples) - 1])

    found = said(check_against(paths, sheet))[1:]
    assert found == [("sheet-length", "Hat.wav", 383_999), ("sheet-line-up", "Hat.wav", 480)]


def test_missing_unknown_and_broken_files(paths: list[Path], tmp_path: Path) -> None:
    sheet = sheet_of(paths)
    paths[1].write_text("no sound")
    other = write_sound(tmp_path / "Spare.wav", signals.noise())
    codes = {(code, name) for code, name, _ in said(check_against([paths[1], paths[2], other], sheet))}

    assert codes == {("arrived", "Hat.wav"), ("arrived", "KickIn.wav"), ("not-in-sheet", "Spare.wav")}


def test_another_sound_cannot_be_placed(paths: list[Path]) -> None:
    sheet = sheet_of(paths)
    write_sound(paths[0], signals.noise(duration_s=8.0, seed=77))
    checks = check_against(paths, sheet)

    assert [check.undecided for check in checks if check.code == "sheet-line-up"] == [True]
