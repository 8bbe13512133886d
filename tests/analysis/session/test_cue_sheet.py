"""Bars and times as CSV. At 120 a bar of 4/4 is 2 s, one of 6/8 at 60 is 2 s as well (arithmetic)."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

from analysis.maps.midi import Marker
from analysis.maps.tempo_map import TempoMap
from analysis.session.cue_sheet import COLUMNS, clock_words, cue_sheet_text
from analysis.session.settings import SessionSettings
from analysis.session.timeline import plan_session

MAP = TempoMap.from_json(
    {
        "segments": [
            {"bar": 1, "time_s": 0.0, "bpm": 120, "meter": "4/4"},
            {"bar": 2, "time_s": 2.0, "bpm": 60, "meter": "6/8", "free": True},
        ]
    }
)


def test_one_line_for_each_bar() -> None:
    timeline = plan_session([Path("x")], MAP, SessionSettings(), lengths_s=[Fraction(4)])
    lines = list(csv.reader(cue_sheet_text(timeline, [Marker(3, "bar one"), Marker(3, "A")]).splitlines()))

    assert lines == [
        list(COLUMNS),
        ["1", "-1", "0:00:00.000", "0.000000", "0", "4/4", "120", ""],
        ["2", "0", "0:00:02.000", "2.000000", "96000", "4/4", "120", ""],
        ["3", "1", "0:00:04.000", "4.000000", "192000", "4/4", "120", "bar one; A"],
        ["4", "2", "0:00:06.000", "6.000000", "288000", "6/8", "free", ""],
    ]


def test_hours_and_thousandths() -> None:
    assert clock_words(Fraction(3_723_0005, 10_000)) == "1:02:03.000"
    assert clock_words(Fraction(30, 7)) == "0:00:04.286"
