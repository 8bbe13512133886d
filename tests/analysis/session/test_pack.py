"""The whole pack: same inputs, same bytes; hashes, MIDI and click agree with the map."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import mido
import pytest

from analysis.maps.click_style import ClickStyle
from analysis.maps.midi import Marker, read_midi
from analysis.maps.tempo_map import TempoMap
from analysis.session.file_names import NameParts
from analysis.session.pack import PackReport, make_pack
from analysis.session.settings import SessionSettings
from tests import signals
from tests.analysis.encoded import write_sound

MAP = TempoMap.constant("112.3", "4/4", bar_one_s=0.5)
SETTINGS = SessionSettings(click=ClickStyle(subdivision="eighth", sound="wood"))


@pytest.fixture(scope="module")
def stems(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("stems")
    paths = [
        write_sound(folder / f"{name}.wav", signals.noise(duration_s=6.0, seed=seed, sample_rate_hz=rate_hz), rate_hz)
        for seed, (name, rate_hz) in enumerate({"bass": 48_000, "keys": 44_100, "pad": 96_000}.items())
    ]
    (folder / "notes.txt").write_text("play softly")
    return [*paths, folder / "notes.txt"]


def pack(stems: list[Path], folder: Path) -> PackReport:
    shared = NameParts(song="Cold Bus Under Spoons")
    return make_pack(
        stems, folder, tempo_map=MAP, settings=SETTINGS, shared=shared, sections=[Marker(1, "A"), Marker(3, "B")]
    )


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_the_same_inputs_are_the_same_bytes_and_the_hashes_are_theirs(stems: list[Path], tmp_path: Path) -> None:
    report = pack(stems, tmp_path / "one")
    pack(stems, tmp_path / "two")
    made = contents(tmp_path / "one")

    assert made == contents(tmp_path / "two")
    lines = [line.split("  ") for line in made.pop("SHA256SUMS").decode().splitlines()]
    listed = {name: digest for digest, name in lines}
    assert listed == {name: hashlib.sha256(content).hexdigest() for name, content in made.items()}
    assert len([name for name in made if name.startswith("audio/")]) == 4
    assert [name for name, _ in report.left_out] == ["notes.txt"]
    assert b"notes.txt" in made["about-this-pack.html"]
    timeline = json.loads(made["session.json"])
    assert timeline["start_bar"] == report.start_bar == 3
    assert list(timeline) == sorted(timeline)  # whatever order a database gives it back in


def test_a_chart_goes_along_with_its_hash(stems: list[Path], tmp_path: Path) -> None:
    make_pack(stems[:1], tmp_path, tempo_map=MAP, settings=SETTINGS, shared=NameParts(), charts={"chart.pdf": b"%PDF-"})

    assert (tmp_path / "chart.pdf").read_bytes() == b"%PDF-"
    assert f"{hashlib.sha256(b'%PDF-').hexdigest()}  chart.pdf" in (tmp_path / "SHA256SUMS").read_text().splitlines()


def test_the_midi_file_has_the_sessions_bars(stems: list[Path], tmp_path: Path) -> None:
    report = pack(stems, tmp_path / "one")
    facts = read_midi(tmp_path / "one" / "tempo-map.mid")

    assert [(marker.bar, marker.text) for marker in facts.markers] == [(1, "bar one"), (1, "A"), (3, "B")]
    seconds = sum(
        mido.tick2second(message.time, 480, round(60e6 / 112.3))
        for message in mido.MidiFile(tmp_path / "one" / "tempo-map.mid").tracks[0]
        if message.type in ("marker", "set_tempo", "time_signature")
    )
    # The last marker is song bar 3, the session's bar 5: four bars of 4 x 60 / 112.3 s.
    assert seconds == pytest.approx(16 * 60 / 112.3, abs=16 * 0.5e-6)
    assert report.frames == (6 * 48_000) + round((2 * 4 * 60 / 112.3 - 0.5) * 48_000)
