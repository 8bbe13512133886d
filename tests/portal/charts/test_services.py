"""Saving, sharing and going back: versions are kept, and nobody's work is written over."""

from __future__ import annotations

import copy

import pytest

from portal.bookings.stages import BookingStage
from portal.charts import services
from portal.charts.errors import ChartingError, NewerChartError
from portal.charts.models import ChartDraft, ChartVersion
from portal.mailroom.models import Message
from tests.factories import CHART, make_chart_version, make_client, make_map, make_song, make_source

pytestmark = pytest.mark.django_db


def test_a_saved_chart_is_the_next_version_and_is_engraved_next() -> None:
    first = make_chart_version()
    song, by = first.song, first.saved_by
    changed = copy.deepcopy(first.chart)
    changed["sections"][0]["name"] = "Opening"
    second = services.save(song=song, chart=changed, seen=1, note=" the opening ", by=by)
    assert (second.number, second.note, second.state) == (2, "the opening", ChartVersion.State.ENGRAVING)
    assert second.chart["sections"][0]["name"] == "Opening"
    assert song.chart_versions.first() == second
    assert song.chart_versions.get(number=1).chart["sections"][0]["name"] == "Verse"


def test_of_two_windows_the_second_is_told_who_saved_first() -> None:
    first = make_chart_version()
    services.save(song=first.song, chart=first.chart, seen=1, note="", by=first.saved_by)
    with pytest.raises(NewerChartError, match="saved version 2 meanwhile, and you began with version 1"):
        services.save(song=first.song, chart=first.chart, seen=1, note="", by=first.saved_by)
    assert first.song.chart_versions.count() == 2


@pytest.mark.parametrize(
    ("chart", "said"),
    [
        (None, "a chart is a JSON object"),
        ({"chart": 9}, "not a chart of format 1"),
        (CHART | {"sections": []}, "no bars"),
        (CHART | {"title": 7}, "title"),
    ],
)
def test_what_is_no_chart_is_refused_with_its_reason(chart: object, said: str) -> None:
    first = make_chart_version()
    with pytest.raises(ChartingError, match=said):
        services.save(song=first.song, chart=chart, seen=1, note="", by=first.saved_by)


def test_texts_are_cleaned_on_the_way_in() -> None:
    first = make_chart_version()
    chart = first.chart | {"title": "Wet Stairs\u202e"}
    saved = services.save(song=first.song, chart=chart, seen=1, note="", by=first.saved_by)
    assert saved.chart["title"] == "Wet Stairs"


def test_an_earlier_version_counts_again_as_a_new_one() -> None:
    first = make_chart_version(origin=ChartVersion.Origin.DRAFTED)
    services.save(song=first.song, chart=first.chart | {"words": "brushes"}, seen=1, note="", by=first.saved_by)
    again = services.restore(version=first, by=first.saved_by)
    assert (again.number, again.chart, again.note) == (3, first.chart, "version 1 again")
    assert again.origin == ChartVersion.Origin.DRAFTED


def test_a_client_sees_what_was_shared_and_no_longer_what_was_taken_back() -> None:
    client = make_client()
    version = make_chart_version(song=make_song(client=client))
    seen = ChartVersion.objects.visible_to(client)
    assert not seen.exists()
    by = version.saved_by
    with pytest.raises(ChartingError, match="not engraved yet"):
        services.share(version=version, on=True, by=by)
    assert not Message.objects.filter(song=version.song, subject__startswith="The chart of").exists()
    version.finish()
    services.share(version=version, on=True, by=by)
    assert list(seen.all()) == [version]
    services.share(version=version, on=False, by=by)
    assert not seen.all().exists()
    services.share(version=version, on=True, by=by)
    assert (
        Message.objects.filter(song=version.song, subject__startswith="The chart of").count() == 1
    )  # they hear of it once
    assert version.song.timeline.filter(text="shared version 1 of the chart").count() == 2


def test_a_draft_needs_a_map_and_measured_files_and_is_asked_for_once() -> None:
    song = make_song()
    by = song.booking.created_by
    make_source(song=song, features_key="features/one.npz")
    with pytest.raises(ChartingError, match="approved tempo map"):
        services.ask_draft(song=song, by=by)
    make_map(song=song, bpm=120.0, bar_one_s=0.0)
    draft = services.ask_draft(song=song, by=by)
    assert services.ask_draft(song=song, by=by) == draft
    assert list(song.chart_drafts.values_list("state", flat=True)) == [ChartDraft.State.MAKING]


def test_a_booking_that_is_over_keeps_its_charts_as_they_are() -> None:
    version = make_chart_version()
    booking = version.song.booking
    booking.stage = BookingStage.CANCELLED
    booking.save(update_fields=["stage"])
    version.song.refresh_from_db()
    with pytest.raises(ChartingError, match="over"):
        services.save(song=version.song, chart=version.chart, seen=1, note="", by=version.saved_by)
    with pytest.raises(ChartingError, match="over"):
        services.restore(version=version, by=version.saved_by)
