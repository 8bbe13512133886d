"""What is said of a chart: C-3 of a road map's errors, and the chart's length beside the song's (common practice)."""

from __future__ import annotations

import copy

import pytest

from analysis.chart import read_chart
from portal.bookings.models import Song
from portal.charts.models import ChartDraft
from portal.charts.page import chart_page, last_bar, map_in_use, named_sections, seen_of
from portal.lanes.page import sections_of, word_on_sections
from tests.factories import CHART, make_chart_version, make_map, make_song

pytestmark = pytest.mark.django_db


def make_draft(song: Song, bars: int) -> ChartDraft:
    return ChartDraft.objects.create(
        song=song,
        approved_map=song.maps.get(),
        fingerprint="0" * 64,
        state=ChartDraft.State.MADE,
        draft={"bars": bars},
        asked_by=song.booking.created_by,
    )


def test_bars_are_counted_as_played_and_held_against_the_song() -> None:
    """Eight bars, of which the first four are played twice: twelve."""
    version = make_chart_version()
    make_draft(version.song, 14)
    chart = copy.deepcopy(CHART)
    chart["sections"][0]["bars"][0] = {"road": {"repeat_start": True}}  # type: ignore[index]
    chart["sections"][0]["bars"][3] = {"road": {"repeat_end": 2}}  # type: ignore[index]
    seen = seen_of(version.song, read_chart(chart), version)
    assert seen["order"] == [1, 2, 3, 4, 1, 2, 3, 4, 5, 6, 7, 8]
    assert seen["song_bars"]["2"] == [2, 6]
    assert seen["length"] == {"agrees": False, "sentence": "The chart has 12 bars, the song 14."}
    assert seen["problems"] == []


def test_a_ds_without_a_segno_is_named_with_its_bar() -> None:
    version = make_chart_version()
    chart = copy.deepcopy(CHART)
    chart["sections"][1]["bars"][3] = {"road": {"jump": {"to": "segno", "until": "end"}}}  # type: ignore[index]
    problems = seen_of(version.song, read_chart(chart), version)["problems"]
    assert [(one["bar"], one["code"]) for one in problems] == [(8, "ds-without-segno")]


def test_another_meter_than_the_map_s_is_said() -> None:
    version = make_chart_version()
    chart = copy.deepcopy(CHART)
    chart["sections"][0]["bars"][2] = {"meter": "3/4"}  # type: ignore[index]
    said = seen_of(version.song, read_chart(chart), version)["meters"]
    assert said == ["Bar 3: the chart has 3/4, the tempo map 4/4."]


def test_a_chart_on_an_older_map_says_so() -> None:
    version = make_chart_version()
    assert chart_page(version.song, version.saved_by).older == ""
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    assert "tempo map 1, and map 2 counts" in chart_page(version.song, version.saved_by).older


def test_the_chart_s_sections_are_the_song_s_everywhere() -> None:
    """120 BPM in 4/4 from 0 s on: bar 5 begins at 8 s."""
    song = make_song()
    assert named_sections(song) is None
    make_chart_version(song=song)
    assert named_sections(song) == [(1, "A Verse"), (5, "B Chorus")]
    times = [(one["bar"], one["label"], one["time_s"]) for one in sections_of(song, map_in_use(song))]
    assert times == [(1, "A Verse", 0.0), (5, "B Chorus", 8.0)]


def test_sections_stay_where_they_are_in_time_when_another_map_counts() -> None:
    """Bar one 2 s, which is one bar, later: what was bar 5, at 8 s, is bar 4, and the last of eight bars is bar 7."""
    version = make_chart_version()
    assert last_bar(version.song) == 8
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    assert named_sections(version.song) == [(0, "A Verse"), (4, "B Chorus")]
    assert last_bar(version.song) == 7
    times = [(one["bar"], one["time_s"]) for one in sections_of(version.song, map_in_use(version.song))]
    assert times == [(0, 0.0), (4, 8.0)]


def test_sections_that_fall_on_one_bar_are_named_together() -> None:
    """Bars of 32 s: both sections, at 0 and 8 s, are nearest to the first line."""
    version = make_chart_version()
    make_map(song=version.song, bpm=7.5, bar_one_s=0.0)
    assert named_sections(version.song) == [(1, "A Verse / B Chorus")]


def test_a_map_with_the_same_content_is_no_other_map() -> None:
    version = make_chart_version()
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    assert word_on_sections(version.song).startswith("The chart was made on tempo map 1, and map 2 counts.")
    make_map(song=version.song, bpm=120.0, bar_one_s=0.0)
    assert named_sections(version.song) == [(1, "A Verse"), (5, "B Chorus")]
    assert (word_on_sections(version.song), chart_page(version.song, version.saved_by).older) == ("", "")


def test_a_chart_is_held_against_the_map_in_use() -> None:
    """Eight bars of 2 s end at 16 s; with bar one at 2 s the song has seven, and the chart's first one is bar 0."""
    version = make_chart_version()
    make_draft(version.song, 8)
    chart = read_chart(version.chart)
    assert seen_of(version.song, chart, version)["length"]["agrees"]
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    seen = seen_of(version.song, chart, version)
    assert seen["length"] == {"agrees": False, "sentence": "The chart has 8 bars, the song 7."}
    assert (seen["first_bar"], seen["song_bars"]["5"]) == (0, [4])
