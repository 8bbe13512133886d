"""The chart's addresses: who sees what, and that what is sent is held against what was seen."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from analysis.chart import VOICES, played_order, read_chart
from analysis.engraving.musicxml import musicxml_text
from portal.bookings.stages import BookingStage
from portal.charts.jobs import engrave_version
from portal.charts.models import ChartFile, ChartVersion
from portal.charts.views import DRUMS
from tests.analysis.chart.charts import ds_al_coda
from tests.factories import make_chart_version, make_client, make_map, make_song, make_source

pytestmark = pytest.mark.django_db
UNPROCESSABLE, CONFLICT, ABSENT = 422, 409, 404


@pytest.fixture
def version() -> ChartVersion:
    return make_chart_version(song=make_song(client=make_client()))


@pytest.fixture
def drummer(client: Client, version: ChartVersion) -> Client:
    client.force_login(version.saved_by)
    return client


def send(client: Client, name: str, song_id: int, body: Any) -> tuple[int, dict[str, Any]]:
    content = body if isinstance(body, str) else json.dumps(body)
    response = client.post(reverse(f"charts:{name}", args=[song_id]), content, content_type="application/json")
    return response.status_code, response.json()


def test_the_editor_holds_the_newest_version(drummer: Client, version: ChartVersion) -> None:
    page = drummer.get(reverse("charts:chart", args=[version.song_id])).content.decode()
    assert 'id="chart-start"' in page
    assert "version 1" in page


def test_a_chart_is_looked_at_without_being_saved(drummer: Client, version: ChartVersion) -> None:
    status, seen = send(drummer, "try", version.song_id, {"chart": version.chart})
    assert (status, seen["order"]) == (200, list(range(1, 9)))
    assert "no bars" in send(drummer, "try", version.song_id, {"chart": version.chart | {"sections": []}})[1]["error"]
    assert version.song.chart_versions.count() == 1


@pytest.mark.parametrize("body", ["", "[", "[1]", '{"chart": 3}', "[" * 100_000])
def test_what_is_no_chart_is_answered_with_a_sentence(drummer: Client, version: ChartVersion, body: str) -> None:
    status, said = send(drummer, "save", version.song_id, body)
    assert (status, bool(said["error"])) in ((UNPROCESSABLE, True), (CONFLICT, True))
    assert version.song.chart_versions.count() == 1


def test_a_version_that_is_not_the_newest_is_not_saved_over(drummer: Client, version: ChartVersion) -> None:
    sent = {"chart": version.chart, "seen": 1, "note": "first"}
    assert send(drummer, "save", version.song_id, sent) == (200, {"number": 2})
    status, said = send(drummer, "save", version.song_id, sent)
    assert (status, said["newest"]) == (CONFLICT, 2)
    assert send(drummer, "save", version.song_id, sent | {"seen": 2}) == (200, {"number": 3})


def test_the_client_sees_pages_only_of_what_is_shared(drummer: Client, version: ChartVersion) -> None:
    engrave_version(version.pk)
    page = ChartFile.objects.get(version=version, kind=ChartFile.Kind.PREVIEW, page=1)
    client = Client()
    client.force_login(version.song.booking.members.get().user)
    assert client.get(reverse("charts:file", args=[page.pk])).status_code == ABSENT
    drummer.post(reverse("charts:share", args=[version.pk]), {"share": "yes"})
    shown = client.get(reverse("charts:chart", args=[version.song_id])).content.decode()
    assert reverse("charts:file", args=[page.pk]) in shown
    assert "data-chart-editor" not in shown
    drawn = b"".join(client.get(reverse("charts:file", args=[page.pk])).streaming_content)  # type: ignore[attr-defined]
    assert b"<svg" in drawn
    assert b"<script" not in drawn


def test_a_musicxml_file_becomes_the_next_version(drummer: Client, version: ChartVersion) -> None:
    """As a person would send it: written by us from a chart of 52 bars as they are played (C-1)."""
    make_map(song=version.song)
    sent = SimpleUploadedFile("from afar.musicxml", musicxml_text(ds_al_coda()).encode())
    drummer.post(reverse("charts:musicxml", args=[version.song_id]), {"file": sent})
    newest = version.song.chart_versions.first()
    assert newest is not None
    assert (newest.number, newest.origin, newest.note) == (2, "sent", "from afar.musicxml")
    read = read_chart(newest.chart)
    assert len(played_order(read).order) == 52
    assert read.title == version.song.title
    assert "from a MusicXML file" in drummer.get(reverse("charts:chart", args=[version.song_id])).content.decode()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"<html><body/></html>", "this is XML but no MusicXML"),
        (b"PK\x03\x04", "compressed MusicXML"),
        (b"", "Choose a MusicXML file"),
    ],
)
def test_what_is_no_musicxml_is_not_taken_and_says_why(
    drummer: Client, version: ChartVersion, content: bytes, words: str
) -> None:
    sent = SimpleUploadedFile("song.xml", content)
    answer = drummer.post(reverse("charts:musicxml", args=[version.song_id]), {"file": sent}, follow=True)
    assert words in answer.content.decode()
    assert version.song.chart_versions.count() == 1


@pytest.mark.parametrize("address", ["charts:chart", "bookings:song"])
def test_a_client_reads_that_the_bars_of_a_shared_chart_were_counted_anew(
    client: Client, version: ChartVersion, address: str
) -> None:
    version.share(on=True)
    client.force_login(version.song.booking.members.get().user)
    said = "The bars of this song were counted anew after this chart was made"
    assert said not in client.get(reverse(address, args=[version.song_id])).content.decode()
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    assert said in client.get(reverse(address, args=[version.song_id])).content.decode()


def test_the_page_at_the_kit_says_that_the_chart_was_made_on_another_map(
    drummer: Client, version: ChartVersion
) -> None:
    address = reverse("kit:page", args=[version.song_id])
    assert "map 2 counts" not in drummer.get(address).content.decode()
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    assert "The chart was made on tempo map 1, and map 2 counts." in drummer.get(address).content.decode()


def test_the_score_says_that_the_chart_was_made_on_another_map(drummer: Client, version: ChartVersion) -> None:
    make_source(song=version.song)
    make_map(song=version.song, bpm=120.0, bar_one_s=2.0)
    said = "Its sections stand at the bars that are nearest in time"
    assert said in drummer.get(reverse("charts:chart", args=[version.song_id])).content.decode()


def test_what_a_chart_cannot_be_drafted_without_is_named_with_the_way_there(client: Client) -> None:
    song = make_song()
    client.force_login(song.booking.created_by)
    addresses = [reverse(name, args=[song.pk]) for name in ("bookings:song", "charts:chart")]

    def shown() -> list[str]:
        return [client.get(address).content.decode() for address in addresses]

    for page in shown():
        assert "A chart is drafted on an approved tempo map, and this song has none yet." in page
        assert f'href="{reverse("intake:sheet", args=[song.pk])}">Open the song sheet' in page
        assert "Draft the chart" not in page
    make_map(song=song)
    for page in shown():
        assert "A chart is drafted from measured files, and this song has none yet." in page
        assert f'href="{reverse("intake:files", args=[song.pk])}">Open the song’s files' in page
    make_source(song=song)
    for page in shown():
        assert "Draft the chart" in page


def test_a_booking_that_is_over_offers_no_draft(client: Client) -> None:
    song = make_song()
    song.booking.stage = BookingStage.CLOSED
    song.booking.save(update_fields=["stage"])
    make_map(song=song)
    make_source(song=song)
    client.force_login(song.booking.created_by)
    pages = [client.get(reverse(name, args=[song.pk])).content.decode() for name in ("bookings:song", "charts:chart")]
    assert [("Draft the chart" in page, "Read the file" in page) for page in pages] == [(False, False)] * 2
    assert "This booking is over: its charts stay as they are." in pages[1]
    for _ in range(2):
        make_chart_version(song=song)
    make_map(song=song, bpm=90.0)
    page = client.get(reverse("charts:chart", args=[song.pk])).content.decode()
    assert "The chart was made on tempo map 1, and map 2 counts." in page
    assert "This booking is over: its charts stay as they are." in page
    assert not any(offer in page for offer in ("Draft it anew", "data-chart-editor", "Use again"))


def test_the_pages_bring_the_versions_once_they_are_engraved(drummer: Client, version: ChartVersion) -> None:
    address = reverse("charts:pages", args=[version.song_id])
    assert 'id="chart-versions"' not in drummer.get(address).content.decode()
    engrave_version(version.pk)
    brought = drummer.get(address).content.decode()
    pdf = ChartFile.objects.get(version=version, kind=ChartFile.Kind.A4)
    assert 'id="chart-versions" hx-swap-oob="true"' in brought
    assert brought.count(reverse("charts:file", args=[pdf.pk])) == 2  # beside the pages, and in its row
    client = Client()
    client.force_login(version.song.booking.members.get().user)
    version.share(on=True)
    assert 'id="chart-versions"' not in client.get(address).content.decode()


def test_every_drum_of_a_chart_has_a_field() -> None:
    assert sorted(DRUMS) == sorted(VOICES)
