"""A pack of synthesised songs passes the outside check, and each of its checks can fail."""

from __future__ import annotations

import dataclasses
import shutil
import struct
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from analysis.maps.click_style import ClickStyle
from analysis.maps.midi import Marker
from analysis.maps.tempo_map import TempoMap
from analysis.session.file_names import NameParts
from analysis.session.pack import make_pack
from analysis.session.settings import SessionSettings
from tests import signals
from tests.analysis.encoded import write_sound
from tests.proof.pack import main, prove

# Tempos that are multiples of no frame and no microsecond, odd and compound meters, a free passage, a bar of pickup.
WINDING = TempoMap.from_json(
    {
        "segments": [
            {"bar": 0, "time_s": 0.25, "bpm": 93.7, "meter": "3/4"},
            {"bar": 1, "time_s": 2.1, "bpm": 112.3, "meter": "4/4"},
            {"bar": 4, "time_s": 8.6, "bpm": 71.9, "meter": "6/8"},
            {"bar": 6, "time_s": 12.0, "bpm": 60, "meter": "4/4", "free": True},
            {"bar": 7, "time_s": 15.3, "bpm": 201.1, "meter": "7/8"},
        ]
    }
)
SIXTEENTHS = ClickStyle("sixteenth", sound="tick")
STEADY = TempoMap.constant("112.3", "4/4", 0.5)
HOUSE = SessionSettings(clock_start_h=1)
PACKS = {
    "steady": (STEADY, HOUSE),
    "winding": (
        WINDING,
        dataclasses.replace(HOUSE, sample_rate_hz=44_100, click=SIXTEENTHS),
    ),
    "bars without": (WINDING, dataclasses.replace(HOUSE, bit_depth=16, click=ClickStyle("triplet", 2, 1, "wood"))),
    "no count-in": (STEADY, dataclasses.replace(HOUSE, count_in_bars=0, start_bar=1, bit_depth=32)),
}


def make(folder: Path, name: str) -> Path:
    tempo_map, settings = PACKS[name]
    stems = [
        write_sound(folder / "bass.wav", signals.noise(duration_s=20.0)),
        write_sound(folder / "keys.wav", signals.noise(duration_s=3.0, sample_rate_hz=96_000, channels=2), 96_000),
        write_sound(folder / "amb.wav", signals.noise(duration_s=3.0, channels=6), format="WAVEX"),
    ]
    for stem in stems[:1]:
        samples, rate_hz = soundfile.read(stem, always_2d=True)
        samples[: rate_hz // 2] = 0.0
        write_sound(stem, samples)
    sections = [Marker(1, "A"), Marker(5, "B")]
    shared = NameParts(song="Cold Bus Under Spoons")
    make_pack(stems, folder / "pack", tempo_map=tempo_map, settings=settings, shared=shared, sections=sections)
    return folder / "pack"


@pytest.mark.parametrize("name", PACKS)
def test_every_check_passes(tmp_path: Path, name: str) -> None:
    results = list(prove(make(tmp_path, name)))

    assert [(check, sentence) for check, passed, sentence in results if not passed] == []
    assert len(results) == 7


def test_from_a_zip(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = make(tmp_path, "steady")
    packed = shutil.make_archive(str(tmp_path / "packed"), "zip", root.parent, root.name)

    assert main(Path(packed)) == 0
    assert capsys.readouterr().out.count("ok  ") == 7


def a_click_a_frame_late(root: Path) -> None:
    (path,) = (root / "audio").glob("*SessionClick*")
    content = path.read_bytes()
    data = content.index(b"data") + 8
    path.write_bytes(content[:data] + bytes(3) + content[data:-3])


def a_wrong_time_reference(root: Path) -> None:
    path = next((root / "audio").glob("*Bass*"))
    content = bytearray(path.read_bytes())
    struct.pack_into("<Q", content, content.index(b"bext") + 8 + 338, 1)
    path.write_bytes(content)


def a_changed_byte(root: Path) -> None:
    (root / "about-this-pack.html").write_bytes(b"x")


def a_bar_moved(root: Path) -> None:
    path = root / "cue-sheet.csv"
    path.write_text(path.read_text().replace("205165", "205166"))


def a_track_gone(root: Path) -> None:
    next((root / "audio").glob("*Keys*")).unlink()


def another_tempo(root: Path) -> None:
    path = root / "tempo-map.mid"
    tempo = struct.pack(">I", 534_283)[1:]
    assert path.read_bytes().count(tempo)
    path.write_bytes(path.read_bytes().replace(tempo, struct.pack(">I", 534_285)[1:]))


@pytest.mark.parametrize(
    ("harm", "fails"),
    [
        (a_click_a_frame_late, {"click"}),
        (a_wrong_time_reference, {"sound files"}),
        (a_changed_byte, set()),
        (a_bar_moved, {"cue sheet"}),
        (a_track_gone, {"interchange"}),
        (another_tempo, {"MIDI by mido", "MIDI by pretty_midi"}),
    ],
)
def test_every_check_can_fail(tmp_path: Path, harm: Callable[[Path], None], fails: set[str]) -> None:
    """60 000 000 / 112.3 is 534 283.17 µs; the song's bar one is at 2 x 240 / 112.3 s, frame 205 165 (arithmetic)."""
    root = make(tmp_path, "steady")
    harm(root)

    assert {check for check, passed, _ in prove(root) if not passed} == fails | {"hashes"}
