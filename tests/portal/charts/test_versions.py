"""What was measured becomes a chart; what people decided stays when it is measured again, and what differs is said."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from portal.bookings.models import Song
from portal.charts import services
from portal.charts.models import ChartDraft, ChartVersion
from portal.charts.versions import take_draft
from tests.factories import make_map, make_song

pytestmark = pytest.mark.django_db

# Twelve bars of 2 s from 0 s on: four, then eight.
MEASURED: dict[str, Any] = {
    "bars": 12,
    "downbeats_s": [2.0 * bar for bar in range(13)],
    "meters": [{"bar": 1, "meter": "4/4"}],
    "sections": [
        {"start_bar": 1, "bars": 4, "label": "A", "confidence": 0.9, "dynamic": "mp"},
        {"start_bar": 5, "bars": 8, "label": "B", "confidence": 0.8, "dynamic": "f"},
    ],
    "hits": [{"bar": 4, "beat": 4.5, "length_beats": 0.5, "confidence": 0.9}],
    "stops": [],
    "grooves": [],
    "fills": [],
    "ending": {"kind": "hit", "bar": 12},
}


@pytest.fixture
def song() -> Song:
    song = make_song()
    make_map(song=song, bpm=120.0, bar_one_s=0.0)
    return song


def draft_of(song: Song, **other: Any) -> ChartDraft:
    return ChartDraft.objects.create(
        song=song,
        approved_map=song.maps.all()[0],
        fingerprint=f"{song.chart_drafts.count():064}",
        state=ChartDraft.State.MADE,
        draft=copy.deepcopy(MEASURED) | other,
        asked_by=song.booking.created_by,
    )


def sections_of(version: ChartVersion) -> list[tuple[str, int]]:
    return [(section["letter"], len(section["bars"])) for section in version.chart["sections"]]


def taken(draft: ChartDraft) -> ChartVersion:
    version = take_draft(draft)
    assert version is not None
    return version


def test_the_first_chart_is_as_measured(song: Song) -> None:
    version = taken(draft_of(song))
    assert (version.number, version.origin) == (1, ChartVersion.Origin.DRAFTED)
    assert sections_of(version) == [("A", 4), ("B", 8)]
    assert version.chart["sections"][0]["bars"][3]["hits"] == [{"beat": 4.5}]
    assert version.chart["title"] == song.title
    assert version.chart["tempo"] == {"bpm": "120"}


def test_without_bars_there_is_no_chart(song: Song) -> None:
    assert take_draft(draft_of(song, bars=0, sections=[], downbeats_s=[], hits=[])) is None
    assert not song.chart_versions.exists()


def test_what_a_person_decided_outlives_a_newer_draft_and_the_difference_is_said(song: Song) -> None:
    first = taken(draft_of(song))
    chart = copy.deepcopy(first.chart)
    chart["sections"][0]["bars"][3] = {"decided": ["hits"]}  # the hit was taken out
    services.save(song=song, chart=chart, seen=1, note="", by=first.saved_by)
    third = taken(draft_of(song))
    assert (third.number, third.origin) == (3, ChartVersion.Origin.MERGED)
    assert "hits" not in third.chart["sections"][0]["bars"][3]
    assert third.differences == ["In bar 4 the draft has another set of hits; yours stays."]


def test_on_a_map_that_begins_two_bars_later_what_was_decided_moves_along(song: Song) -> None:
    first = taken(draft_of(song))
    chart = copy.deepcopy(first.chart)
    chart["sections"][1]["bars"][0] = chart["sections"][1]["bars"][0] | {
        "words": [{"text": "brushes"}],
        "decided": ["words"],
    }
    services.save(song=song, chart=chart, seen=1, note="", by=first.saved_by)
    make_map(song=song, bpm=120.0, bar_one_s=-4.0)
    moved = draft_of(
        song,
        bars=14,
        downbeats_s=[2.0 * bar - 4.0 for bar in range(15)],
        sections=[
            {"start_bar": 1, "bars": 6, "label": "A", "confidence": 0.9, "dynamic": "mp"},
            {"start_bar": 7, "bars": 8, "label": "B", "confidence": 0.8, "dynamic": "f"},
        ],
        hits=[],
    )
    version = taken(moved)
    assert sections_of(version) == [("A", 6), ("B", 8)]
    assert version.chart["sections"][1]["bars"][0]["words"] == [{"text": "brushes"}]
    assert any("2 bars later" in sentence for sentence in version.differences)


def test_what_was_measured_of_a_section_that_is_gone_is_said(song: Song) -> None:
    taken(draft_of(song))
    whole = [{"start_bar": 1, "bars": 12, "label": "A", "confidence": 0.9, "dynamic": "mp"}]
    version = taken(draft_of(song, sections=whole))
    assert version.differences == ["In bar 5 the draft begins no section; what was measured of the one there is gone."]
