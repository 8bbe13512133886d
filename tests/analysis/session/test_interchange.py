"""The interchange file, read back by the library in a fresh process."""

from __future__ import annotations

import json
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

from analysis.maps.midi import Marker
from analysis.maps.tempo_map import TempoMap
from analysis.session.interchange import TrackFile, interchange_text
from analysis.session.settings import SessionSettings
from analysis.session.timeline import plan_session

READ = """
import json, sys, opentimelineio as otio
session = otio.adapters.read_from_file(sys.argv[1])
print(json.dumps({
    "start": session.global_start_time.value,
    "tracks": [[t.name, t.kind, len(t), t[0].media_reference.target_url, t[0].range_in_parent().start_time.value,
                t[0].duration().value, t[0].duration().rate] for t in session.tracks],
    "markers": [[m.name, m.marked_range.start_time.value] for m in session.tracks.markers]}))
"""


def test_every_file_begins_with_the_session_on_a_track_of_its_own(tmp_path: Path) -> None:
    timeline = plan_session(
        [Path("x")], TempoMap.constant(120), SessionSettings(clock_start_h=1), lengths_s=[Fraction(20)]
    )
    files = [TrackFile("Click", "audio/Click.wav", 1), TrackFile("Bass", "audio/Bass.wav", 2)]
    path = tmp_path / "session.otio"
    path.write_text(interchange_text("Salt", timeline, files, [Marker(3, "bar one")]), "utf-8")
    read = json.loads(subprocess.check_output([sys.executable, "-c", READ, path], text=True))

    assert read == {
        "start": 172_800_000,
        "tracks": [
            ["Click", "Audio", 1, "audio/Click.wav", 0, 24 * 48_000, 48_000],
            ["Bass", "Audio", 1, "audio/Bass.wav", 0, 24 * 48_000, 48_000],
        ],
        "markers": [["bar one", 4 * 48_000]],
    }
