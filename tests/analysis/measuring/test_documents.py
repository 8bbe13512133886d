from fractions import Fraction
from pathlib import Path

import pytest

from analysis.core.reports import FileReport
from analysis.maps.midi import Marker, write_midi
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.survey import survey_file


def report(path: Path, content: bytes | None = None) -> FileReport:
    if content is not None:
        path.write_bytes(content)
    return survey_file(path).report


@pytest.mark.parametrize(
    ("name", "content", "container"),
    [
        ("Chart.pdf", b"%PDF-1.7\n", "pdf"),
        ("Chart.PNG", b"\x89PNG\r\n\x1a\n" + bytes(60), "picture"),
        ("notes.txt", b"Bar 9 is a 2/4. The fill in the bridge is free.\n", "text"),
        ("photo.jpeg", b"\xff\xd8\xff\xe0" + bytes(60), "picture"),
    ],
)
def test_charts_and_pictures_are_kept(tmp_path: Path, name: str, content: bytes, container: str) -> None:
    kept = report(tmp_path / name, content)

    assert (kept.container, kept.frames) == (container, None)
    assert [(finding.code, finding.severity) for finding in kept.findings] == [("document", "note")]


@pytest.mark.parametrize("content", [b"%PDF-1.7\n", b"\x89PNG\r\n\x1a\n" + bytes(60), b"MThd\0\0\0\6", b"Bar 9\n"])
def test_a_document_under_the_name_of_a_sound_is_a_mistake(tmp_path: Path, content: bytes) -> None:
    assert [finding.code for finding in report(tmp_path / "bass.wav", content).findings] == ["not-audio"]


def test_a_midi_file_is_evidence(tmp_path: Path) -> None:
    tempo_map = TempoMap.constant(Fraction(174), "3/4")
    write_midi(tempo_map, tmp_path / "map.mid", bars=8, markers=[Marker(5, "Chorus")])
    metadata = report(tmp_path / "map.mid").metadata

    assert (metadata["midi_bpm"], metadata["midi_meter"]) == (174.0, "3/4")
    assert {"bar": 5, "text": "Chorus"} in metadata["midi_markers"]
    assert TempoMap.from_json(metadata["midi_map"]).time_of_bar(2) == Fraction(3 * 60, 174)


@pytest.mark.parametrize(
    "content", [b"MThd", b"MThd\0\0\0\6\0\1\0\1\0\0MTrk", b"MThd\0\0\0\6\0\2\0\1\1\xe0MTrk\0\0\0\4\0\xff\x2f\0"]
)
def test_a_broken_midi_file_is_kept_and_says_why(tmp_path: Path, content: bytes) -> None:
    kept = report(tmp_path / "map.mid", content)

    assert (kept.container, kept.metadata) == ("midi", {})
    assert [finding.code for finding in kept.findings] == ["document"]
    assert "but" in kept.findings[0].message
