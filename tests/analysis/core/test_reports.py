"""Reports survive their JSON form, older and newer ones too."""

import json

from analysis.core.reports import (
    Alternative,
    Clipped,
    ClippedRun,
    FileReport,
    Finding,
    MapSegment,
    Place,
    SongMeasures,
    SongReport,
    Tempo,
)

REPORT = SongReport(
    files=(
        FileReport(
            name="bass.wav",
            sha256="00",
            clipped=Clipped(runs=1, first=(ClippedRun(channel=1, start_s=0.5, duration_s=0.01),)),
            metadata={"tag_bpm": 112.0},
        ),
    ),
    song=SongMeasures(
        tempo=Tempo(kind="map", bpm=112.0, alternatives=(Alternative(bpm=56.0, weight=0.1),)),
        tempo_map=(MapSegment(1, 0.0, 112.0, "4/4"), MapSegment(9, 17.1, 112.0, "4/4", free=True)),
    ),
    findings=(Finding("clipped", "stop", "bass.wav", Place(time_s=0.5), {"runs": 1}, "Too loud."),),
)


def test_a_report_survives_its_json_form() -> None:
    assert SongReport.from_json(json.loads(json.dumps(REPORT.to_json(), allow_nan=False))) == REPORT


def test_keys_that_are_missing_take_their_defaults_and_unknown_ones_are_ignored() -> None:
    assert FileReport.from_json({"name": "a.wav", "sha256": "00", "from_later": 1}) == FileReport("a.wav", "00")


def test_only_free_segments_say_so() -> None:
    steady, free = (item.to_json() for item in REPORT.song.tempo_map)

    assert "free" not in steady
    assert free["free"] is True
