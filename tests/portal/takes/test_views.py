from __future__ import annotations

import re
from http import HTTPStatus

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.bookings.models import Booking, Song
from portal.people.models import User
from portal.takes import tasks
from portal.takes.models import RoughMix
from portal.uploads.models import Upload
from tests import signals
from tests.factories import (
    make_client,
    make_drummer,
    make_map,
    make_rough_mix,
    make_song,
    make_take,
    store_content,
    wav_bytes,
)
from tests.portal.uploads.sending import Sender, base64_of

pytestmark = pytest.mark.django_db

SOUND = wav_bytes(signals.tone(duration_s=1.0))
REPORT = {"duration_s": 61.0, "loudness_lufs": -18.24, "true_peak_dbtp": -1.04, "sample_rate_hz": 48_000, "clipped": {}}


@pytest.fixture
def member() -> User:
    return make_client()


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, stage="tracking", title="Cold Bus Under Spoons")


def mix_with_proxy(song: Song, state: str = "out", content: bytes = b"fLaC and so on") -> RoughMix:
    key = f"originals/{store_content(content)[:2]}/{store_content(content)}"
    if state == "out":
        Song.objects.filter(pk=song.pk).update(stage="in-review", turn="client")
        song.refresh_from_db()
    return make_rough_mix(song=song, state=state, proxy_key=key, report=REPORT)


def test_the_drummer_starts_uploads_and_sends(
    client: Client, member: User, django_capture_on_commit_callbacks: object
) -> None:
    song = make_song(client=member, stage="ready")
    client.force_login(song.booking.created_by)
    assert "Start tracking" in client.get(song.get_absolute_url()).content.decode()
    response = client.post(reverse("takes:track", args=[song.pk]))
    assert response.headers["Location"] == f"/songs/{song.pk}/#rough-mixes"

    sent = {"file": SimpleUploadedFile("rough 1.wav", SOUND)}
    page = client.post(reverse("takes:upload", args=[song.pk]), sent, follow=True).content.decode()
    assert "It is being measured" in page
    assert "delay:2s" in page
    mix = song.rough_mixes.get()
    assert (mix.name, mix.size_bytes) == ("rough 1.wav", len(SOUND))

    tasks.survey_rough_mix(mix.pk)
    part = client.get(reverse("takes:rough-mixes", args=[song.pk]), headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert "delay:2s" not in part
    assert "Send rough mix 1 to the client" in part
    page = client.get(song.get_absolute_url()).content.decode()
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert {"send-take", "upload-take"} < set(ids)
    assert len(ids) == len(set(ids))
    assert not song.timeline.filter(text__contains="rough mix").exists()  # the client reads it too

    client.post(reverse("takes:send", args=[mix.pk]), {"note": "Here it is."})
    mix.refresh_from_db()
    assert (mix.state, mix.note) == ("out", "Here it is.")


def test_the_client_hears_it_reads_its_figures_and_accepts(client: Client, song: Song, member: User) -> None:
    mix = mix_with_proxy(song)
    make_map(song=song)
    client.force_login(member)
    page = client.get(song.get_absolute_url()).content.decode()
    for words in ("1:01", "−18.2\u00a0LUFS", "data-player", "I accept rough mix 1", "Turn down before", "bar_one_s"):
        assert words in page
    assert "autoplay" not in page
    assert "Clipped runs" not in page

    client.post(reverse("takes:decide", args=[mix.pk]), {"decision": "accept"})
    mix.refresh_from_db()
    assert mix.state == "accepted"


def test_the_client_asks_for_a_change_in_words(client: Client, song: Song, member: User) -> None:
    mix = mix_with_proxy(song)
    client.force_login(member)
    address = reverse("takes:decide", args=[mix.pk])
    response = client.post(address, {"decision": "change", "words": ""})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "Describe what should change" in response.content.decode()

    client.post(address, {"decision": "change", "words": "Less ride in bar 33."})
    mix.refresh_from_db()
    assert mix.client_note == "Less ride in bar 33."
    assert "Less ride in bar 33." in client.get(song.get_absolute_url()).content.decode()


def test_an_older_mix_is_answered_with_a_sentence(client: Client, song: Song, member: User) -> None:
    old, _ = mix_with_proxy(song), mix_with_proxy(song)
    client.force_login(member)
    page = client.post(reverse("takes:decide", args=[old.pk]), {"decision": "accept"}, follow=True).content.decode()
    assert "there is a newer one" in page


def test_what_is_not_sent_is_not_the_clients_to_see(client: Client, song: Song, member: User) -> None:
    mix = mix_with_proxy(song, "ready")
    client.force_login(member)
    assert "Rough mix" not in client.get(song.get_absolute_url()).content.decode()
    assert client.get(reverse("takes:audio", args=[mix.pk])).status_code == HTTPStatus.NOT_FOUND
    assert client.post(reverse("takes:decide", args=[mix.pk]), {"decision": "accept"}).status_code == 404


def test_the_sound_is_sent_in_ranges(client: Client, song: Song, member: User) -> None:
    mix = mix_with_proxy(song, content=bytes(range(256)) * 40)
    client.force_login(member)
    response = client.get(reverse("takes:audio", args=[mix.pk]), headers={"Range": "bytes=300-309"})
    assert response.status_code == HTTPStatus.PARTIAL_CONTENT
    assert b"".join(response.streaming_content) == bytes(range(300 - 256, 310 - 256))  # type: ignore[attr-defined]
    assert response.headers["Content-Type"] == "audio/flac"
    assert response.headers["Content-Disposition"].startswith("inline")
    assert client.head(reverse("takes:audio", args=[mix.pk])).headers["Content-Length"] == str(256 * 40)


@pytest.mark.parametrize(
    ("stage", "content", "says"),
    [("on-desk", SOUND, "rough mixes are sent during tracking"), ("tracking", b"", "is not empty")],
)
def test_files_that_cannot_be_taken_are_refused_in_words(
    client: Client, member: User, stage: str, content: bytes, says: str
) -> None:
    song = make_song(client=member, stage=stage)
    client.force_login(song.booking.created_by)
    sent = {"file": SimpleUploadedFile("rough.wav", content)}
    page = client.post(reverse("takes:upload", args=[song.pk]), sent, follow=True).content.decode()
    assert says in page
    assert not RoughMix.objects.exists()


def test_what_comes_too_early_or_too_late_is_answered_in_a_sentence(client: Client, member: User) -> None:
    song = make_song(client=member, stage="on-desk")
    client.force_login(song.booking.created_by)
    assert "mark it ready" in client.post(reverse("takes:track", args=[song.pk]), follow=True).content.decode()
    mix = make_rough_mix(song=song, state="refused")
    page = client.post(reverse("takes:send", args=[mix.pk]), {"note": ""}, follow=True).content.decode()
    assert "cannot be sent" in page
    ready = make_rough_mix(song=make_song(client=member, stage="tracking"), state="ready")
    response = client.post(reverse("takes:send", args=[ready.pk]), {"note": "x" * 4_001})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "at most 4000" in response.content.decode()


def test_whoever_follows_the_parts_address_comes_to_the_song(client: Client, song: Song) -> None:
    client.force_login(song.booking.created_by)
    response = client.get(reverse("takes:rough-mixes", args=[song.pk]))
    assert response.headers["Location"] == f"/songs/{song.pk}/#rough-mixes"


def test_a_booking_that_is_over_and_an_empty_file_are_refused(client: Client, song: Song) -> None:
    client.force_login(song.booking.created_by)
    empty = Sender(client).create(0, filename="a.wav", purpose="rough-mix", target=song.pk)
    assert "is empty" in empty.content.decode()
    Booking.objects.filter(pk=song.booking_id).update(stage="cancelled")
    over = Sender(client).create(9, filename="a.wav", purpose="rough-mix", target=song.pk)
    assert (empty.status_code, over.status_code) == (422, 422)
    assert "cancelled" in over.content.decode()


def test_tus_brings_a_mix_for_a_drummer_only(client: Client, song: Song, member: User) -> None:
    for user, status in ((make_client(), 404), (member, 403), (song.booking.created_by, 201)):
        client.force_login(user)
        response = Sender(client).create(len(SOUND), SOUND, filename="a.wav", purpose="rough-mix", target=song.pk)
        assert response.status_code == status
    assert (RoughMix.objects.get().name, Upload.objects.get().state) == ("a.wav", "received")


def test_the_take_that_is_chosen_goes_with_the_file_both_ways(client: Client, song: Song) -> None:
    early, _ = make_take(song=song, number=3), make_take(song=song, number=4)
    client.force_login(song.booking.created_by)
    said = {"take": str(early.pk), "holds": "drums", "begins": "files"}
    client.post(reverse("takes:upload", args=[song.pk]), said | {"file": SimpleUploadedFile("one.wav", SOUND)})
    asked = {"filename": "two.wav", "purpose": "rough-mix", "target": str(song.pk)} | said
    words = ",".join(f"{name} {base64_of(value)}" for name, value in asked.items())
    headers = {"Tus-Resumable": "1.0.0", "Upload-Length": str(len(SOUND)), "Upload-Metadata": words}
    client.post("/tus/", SOUND, content_type="application/offset+octet-stream", headers=headers)
    mixes = song.rough_mixes.order_by("number").values_list("name", "take__number", "holds")
    assert list(mixes) == [("one.wav", 3, "drums"), ("two.wav", 3, "drums")]


ROUTES = ("track", "rough-mixes", "upload", "send", "decide", "audio")
ABOUT_A_MIX = ("send", "decide", "audio")


def address_of(route: str, mix: RoughMix) -> str:
    return reverse(f"takes:{route}", args=[mix.pk if route in ABOUT_A_MIX else mix.song_id])


@pytest.mark.parametrize("route", ROUTES)
def test_outsiders_find_nothing_and_nobody_signs_in(client: Client, song: Song, route: str) -> None:
    address = address_of(route, mix_with_proxy(song))
    ask = client.get if route in ("rough-mixes", "audio") else client.post
    assert ask(address).headers["Location"].startswith("/sign-in/")
    client.force_login(make_client())
    assert ask(address).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("route", ["track", "upload", "send"])
def test_a_client_has_no_right_to_the_drummers_moves(client: Client, song: Song, member: User, route: str) -> None:
    client.force_login(member)
    assert client.post(address_of(route, mix_with_proxy(song))).status_code == HTTPStatus.FORBIDDEN


def test_a_drummer_has_no_right_to_the_clients_word(client: Client, song: Song) -> None:
    client.force_login(make_drummer())
    answer = client.post(address_of("decide", mix_with_proxy(song)), {"decision": "accept"})
    assert answer.status_code == HTTPStatus.FORBIDDEN


@pytest.mark.parametrize("route", ROUTES)
def test_each_address_takes_its_own_method(client: Client, song: Song, route: str) -> None:
    client.force_login(song.booking.created_by)
    ask = client.post if route in ("rough-mixes", "audio") else client.get
    assert ask(address_of(route, mix_with_proxy(song))).status_code == HTTPStatus.METHOD_NOT_ALLOWED


def test_the_part_asks_as_often_with_many_mixes_as_with_few(client: Client, song: Song, member: User) -> None:
    client.force_login(member)
    counts = []
    for wanted in (3, 300):
        for _ in range(wanted - song.rough_mixes.count()):
            make_rough_mix(song=song, state="change-asked", client_note="More.", decided_by=member, report=REPORT)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            client.get(reverse("takes:rough-mixes", args=[song.pk]), headers={"HX-Request": "true"})
        counts.append(len(queries))
    assert counts[0] == counts[1]
