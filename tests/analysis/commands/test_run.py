"""The command line as a person or a script uses it: `python -m analysis ...`."""

import json
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest
import soundfile

from analysis.__main__ import main
from analysis.commands import run as commands
from analysis.media.reader import open_media
from tests import signals
from tests.analysis.encoded import write_sound
from tests.analysis.playing import band
from tests.analysis.sandbox.conftest import children, measured_by

MAP = {"bar_one_s": 0.5, "segments": [{"bar": 1, "time_s": 0.5, "bpm": 120.0, "meter": "4/4"}]}


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    try:
        code = main([str(argument) for argument in arguments])
    except SystemExit as stopped:
        code = int(stopped.code or 0)
    printed = capsys.readouterr()
    return code, printed.out + printed.err


def map_file(folder: Path) -> Path:
    path = folder / "map.json"
    path.write_text(json.dumps(MAP))
    return path


@pytest.fixture(scope="module")
def click(tmp_path_factory: pytest.TempPathFactory) -> Path:
    track = signals.click_track(bpm=112, beats=64)
    return write_sound(tmp_path_factory.mktemp("click") / "click 112.wav", track.samples)


def test_inspect_prints_one_object(click: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = write_sound(tmp_path / "pad.wav", signals.silence(duration_s=4.0))
    code, printed = run(capsys, "inspect", click, silent, "--json", "--map-out", tmp_path / "map.json")
    report: dict[str, Any] = json.loads(printed)

    assert code == 0
    assert (report["schema"], [file["name"] for file in report["files"]]) == (1, ["click 112.wav", "pad.wav"])
    assert report["song"]["tempo"]["bpm"] == pytest.approx(112.0, abs=0.001)
    assert [file["is_click"] for file in report["files"]] == [True, False]
    assert [file["is_silent"] for file in report["files"]] == [False, True]
    assert json.loads((tmp_path / "map.json").read_text())["segments"][0]["bpm"] == pytest.approx(112.0, abs=0.001)


def test_inspect_prints_a_report_for_people(click: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, printed = run(capsys, "inspect", click)

    assert code == 0
    assert "112 bpm" in printed
    assert "pcm_s24le 48 kHz/24 1ch" in printed


def test_a_file_that_crashes_its_child_does_not_hide_the_others(
    click: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    crashing = write_sound(tmp_path / "crash.wav", signals.noise())
    work = f"if order.get('path') == {str(crashing)!r}: os.kill(os.getpid(), 11); return whole(told)"
    with measured_by(children(work, settings="whole = child_jobs.main")):
        code, printed = run(capsys, "inspect", crashing, click, "--json")

    report = json.loads(printed)
    assert code == 1
    assert {file["name"] for file in report["files"]} == {"crash.wav", "click 112.wav"}
    assert [one["code"] for one in report["findings"] if one["file"] == "crash.wav"] == ["unreadable"]
    assert report["song"]["tempo"]["bpm"] == pytest.approx(112.0, abs=0.001)


def test_stopped_by_a_key_it_says_so_in_a_line(
    click: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """130 is what a shell gives a program that SIGINT (2) ended: 128 + 2 (POSIX, exit status)."""

    def press(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(commands, "measure_song_in_child", press)

    assert run(capsys, "inspect", click) == (130, "python -m analysis inspect: stopped\n")


def test_one_bad_file_does_not_hide_the_others(click: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    notes = tmp_path / "notes.wav"
    notes.write_text("the bass is on the other disk")
    code, printed = run(capsys, "inspect", notes, click, "--json")
    report = json.loads(printed)

    assert code == 1
    assert [finding["code"] for finding in report["findings"] if finding["file"] == "notes.wav"] == ["not-audio"]
    assert report["files"][1]["frames"] is not None


@pytest.mark.parametrize(
    ("brief", "words"),
    [
        ({"bpm": 0}, "between 20 and 400"),
        ({"bpm": -5}, "between 20 and 400"),
        ({"bpm": 1e9}, "between 20 and 400"),
        ({"bpm": "abc"}, "must be a number"),
        ({"meter": "four"}, "meter"),
        ({"starts": "tomorrow"}, "bar-one"),
        ([1], "JSON object"),
    ],
)
def test_a_brief_that_nobody_can_have_meant(
    click: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], brief: object, words: str
) -> None:
    path = tmp_path / "brief.json"
    path.write_text(json.dumps(brief))
    code, printed = run(capsys, "inspect", click, "--brief", path)

    assert code == 2
    assert words in printed


@pytest.mark.parametrize(
    "arguments",
    [
        ["inspect"],
        ["inspect", "/nowhere/bass.wav"],
        ["click", "--bpm", "112"],
        ["click", "--bpm", "112", "--map", "m.json", "--out", "c.wav"],
        ["click", "--bpm", "0", "--out", "c.wav"],
        ["click", "--bpm", "112", "--bars", "0", "--out", "c.wav"],
        ["midi", "--map", "/nowhere/map.json", "--out", "m.mid"],
        ["verify", "/nowhere"],
        ["sing"],
        [],
    ],
)
def test_wrong_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, *arguments)[0] == 2


@pytest.mark.parametrize(("depth", "rate_hz"), [(16, 44_100), (24, 48_000), (32, 96_000)])
def test_click(tmp_path: Path, capsys: pytest.CaptureFixture[str], depth: int, rate_hz: int) -> None:
    """120 BPM in 4/4: a beat is half a second; two bars of count-in before four of song."""
    out = tmp_path / "click.wav"
    code, _ = run(
        capsys, "click", "--bpm", 120, "--bars", 4, "--count-in", 2, "--rate", rate_hz, "--depth", depth, "--out", out
    )

    assert code == 0
    with open_media(out) as media:
        assert (media.facts.sample_rate_hz, media.facts.bit_depth) == (rate_hz, depth)
        samples = np.concatenate([block.copy() for block in media.blocks()])[:, 0]
    onsets = [
        frame for frame in range(0, len(samples), rate_hz // 2) if np.abs(samples[frame : frame + 200]).max() > 0.05
    ]
    assert len(onsets) == 6 * 4
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(-12.0, abs=0.6)


def test_midi(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """SMF 1.1: FF 51 03, microseconds a quarter; 500 000 at 120 BPM."""
    code, _ = run(capsys, "midi", "--bpm", "120", "--bars", 4, "--out", tmp_path / "map.mid")

    tempos = [
        event.tempo
        for track in mido.MidiFile(tmp_path / "map.mid").tracks
        for event in track
        if event.type == "set_tempo"
    ]
    assert (code, tempos[-1]) == (0, 500_000)


def test_conform_and_verify(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stems = []
    for seed, name in enumerate(("Bass DI.wav", "Keys.wav")):
        samples = signals.noise(duration_s=2.0 + seed, seed=seed)
        samples[:24_000] = 0.0
        samples[-24_000:] *= np.linspace(1.0, 0.0, 24_000, dtype=np.float32)[:, None]  # nothing is cut at its end
        stems.append(write_sound(tmp_path / name, samples))
    out = tmp_path / "out"
    code, printed = run(
        capsys, "conform", "--map", map_file(tmp_path), "--start-bar", 3, "--out", out, "--json", *stems
    )
    report = json.loads(printed)

    assert code == 0
    assert report["bar_one_frame"] == 2 * 96_000
    assert {item["frames"] for item in report["files"]} == {144_000 + 2 * 96_000 - 24_000}
    code, printed = run(capsys, "verify", out, "--map", map_file(tmp_path), "--json")
    assert code == 0
    assert json.loads(printed)["passed"]
    assert "ready to deliver" in run(capsys, "verify", out)[1]


def test_pack(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is in it is tested in `tests/analysis/session`."""
    stem = write_sound(tmp_path / "bass.wav", signals.noise(duration_s=2.0))
    out = tmp_path / "out"
    options = ("--subdivision", "eighth", "--song", "Salt", "--start-bar", 2, "--count-in", 1, "--clock-start", 1)
    code, printed = run(capsys, "pack", "--map", map_file(tmp_path), *options, "--out", out, stem)

    assert code == 0
    assert "Salt_v1_Bass_48k_24.wav" in printed
    assert sorted(path.name for path in out.iterdir()) == [
        "SHA256SUMS",
        "about-this-pack.html",
        "audio",
        "cue-sheet.csv",
        "session.json",
        "session.otio",
        "tempo-map.mid",
    ]


def test_a_click_as_chosen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two bars of 4/4 at 120 in eighths, the second silent; the ceiling holds whatever is asked for."""
    options = ("--subdivision", "eighth", "--sound", "tick", "--bars-off", 1, "--count-in", 0, "--peak", 3)
    code, _ = run(capsys, "click", "--bpm", "120", "--bars", 2, *options, "--out", tmp_path / "click.wav")
    samples, _ = soundfile.read(tmp_path / "click.wav")

    assert code == 0
    assert [bool(np.abs(samples[at : at + 600]).max()) for at in range(0, 192_000, 12_000)] == [True] * 8 + [False] * 8
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(-7.5, abs=0.01)


def test_verify_says_what_fails(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for seed, length_s in enumerate((2.0, 2.0, 1.9)):
        write_sound(tmp_path / f"T{seed}.wav", signals.noise(duration_s=length_s, seed=seed))
    code, printed = run(capsys, "verify", tmp_path)

    assert code == 0  # every file was measured
    assert "FAIL  T2.wav is 91200 samples long: 4800 frames short." in printed
    assert "not ready" in printed


def test_more_bars_than_any_song_has_are_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, printed = run(capsys, "click", "--bpm", "112", "--bars", 100_000_000, "--out", tmp_path / "click.wav")

    assert code == 2
    assert "must be 5000 or less" in printed


def test_chart_prints_one_object_on_the_bars_of_a_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Thirty-two beats at 120 in 4/4 are eight bars of two seconds."""
    sound = write_sound(tmp_path / "keys.wav", band(0.5 + np.arange(33) * 0.5))
    code, printed = run(capsys, "chart", sound, "--map", map_file(tmp_path), "--json")
    draft: dict[str, Any] = json.loads(printed)

    assert code == 0
    assert (draft["bars"], draft["downbeats_s"]) == (8, [0.5 + 2 * bar for bar in range(9)])
    assert set(draft) >= {"bars", "downbeats_s", "sections", "hits", "stops", "grooves", "fills", "ending"}


def test_chart_says_for_people_that_silence_has_no_bars(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    silent = write_sound(tmp_path / "pad.wav", signals.silence(duration_s=1.0))
    code, printed = run(capsys, "chart", silent)

    assert (code, printed.strip()) == (0, "No bars were found in these files, so there is nothing to draft.")


def test_a_sheet_is_written_and_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, sheet = tmp_path / "set", tmp_path / "sheet.json"
    folder.mkdir()
    for seed, name in enumerate(("Hat", "OHL")):
        write_sound(folder / f"{name}.wav", signals.noise(duration_s=4.0, seed=seed))
    run(capsys, "verify", folder, "--sheet-out", sheet)

    code, printed = run(capsys, "verify", folder, "--sheet", sheet)
    assert (code, "Hat.wav is as it was sent, bit for bit." in printed) == (0, True)
    (folder / "Hat.wav").unlink()
    code, printed = run(capsys, "verify", folder, "--sheet", sheet)
    assert code == 3
    assert "FAIL  Hat.wav is missing." in printed
    assert printed.strip().endswith("Not everything arrived as it was sent.")
    (folder / "OHL.wav").write_bytes(b"RIFF torn")
    assert run(capsys, "verify", folder, "--sheet", sheet)[0] == 3


def test_what_the_sheet_lets_pass_is_no_failure_of_what_arrived(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, sheet = tmp_path / "set", tmp_path / "sheet.json"
    folder.mkdir()
    for name, duration_s in (("Hat", 4.0), ("OHL", 3.0)):
        write_sound(folder / f"{name}.wav", signals.noise(duration_s=duration_s))
    run(capsys, "verify", folder, "--sheet-out", sheet)
    code, printed = run(capsys, "verify", folder, "--sheet", sheet)
    assert (code, "Everything arrived as it was sent. " in printed) == (0, True)
    assert "The set itself fails 1 check, and nobody waived that." in printed

    said = json.loads(sheet.read_text("utf-8"))
    failed = [check for check in said["checks"] if not check["passed"]]
    reason = {"reason": "It rings out early.", "by": "Jo"}
    said["let_pass"] = [{"code": check["code"], "file": check["file"]} | reason for check in failed]
    sheet.write_text(json.dumps(said), "utf-8")
    printed = run(capsys, "verify", folder, "--sheet", sheet)[1]
    assert "Waived by Jo: It rings out early." in printed
    assert printed.strip().endswith("Everything arrived as it was sent.")


def test_repair_writes_another_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_sound(tmp_path / "Hat.wav", signals.noise())
    code, printed = run(capsys, "repair", tmp_path, "--flip", "Hat.wav", "--frames", "47999", "--out", tmp_path / "out")

    assert code == 0
    assert "The polarity of Hat.wav was turned over." in printed
    assert run(capsys, "repair", tmp_path, "--out", tmp_path / "out")[0] == 2
