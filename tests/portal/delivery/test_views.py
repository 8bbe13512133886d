from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from html import unescape
from http import HTTPStatus
from typing import Any

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.sheet.text import sheet_text
from portal.people.models import House, User
from tests import signals
from tests.factories import make_client, make_delivery, make_drummer, make_song, make_track, wav_bytes
from tests.portal.pages import flat
from tests.portal.uploads.sending import Sender

pytestmark = pytest.mark.django_db

SOUNDS = {
    "KickIn.wav": wav_bytes(signals.noise(duration_s=2.0, seed=1, rms=0.05)),
    "SnTop.wav": wav_bytes(signals.noise(duration_s=2.0, seed=2, rms=0.05)),
}
PAPERS = ("delivery-sheet.pdf", "delivery-sheet.txt", "sha256.txt", "sheet.json")


@pytest.fixture
def member() -> User:
    return make_client()


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, stage="tracking", title="Cold Bus Under Spoons")


def released(song: Song, **fields: Any) -> Delivery:
    delivery = make_delivery(song=song, state="released", **fields)
    for name, content in SOUNDS.items():
        make_track(delivery=delivery, name=name, content=content, crc32=zlib.crc32(content))
    Song.objects.filter(pk=song.pk).update(stage="delivered", turn="client")
    song.refresh_from_db()
    return delivery


def body(response: Any) -> bytes:
    return b"".join(response.streaming_content)


def page_of(delivery: Delivery) -> str:
    return reverse("delivery:delivery", args=[delivery.pk])


def test_the_drummer_collects_checks_and_releases(
    client: Client, song: Song, django_capture_on_commit_callbacks: Any
) -> None:
    client.force_login(song.booking.created_by)
    assert "Open a delivery" in client.get(song.get_absolute_url()).content.decode()
    address = client.post(reverse("delivery:open", args=[song.pk])).headers["Location"]
    delivery = Delivery.objects.get()
    assert address == page_of(delivery)
    for name, content in SOUNDS.items():
        sent = {"file": SimpleUploadedFile(name, content)}
        client.post(reverse("delivery:upload", args=[delivery.pk]), sent)
    page = client.get(address).content.decode()
    assert "Check the set" in page
    assert "Release delivery" not in page

    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("delivery:check", args=[delivery.pk]))
    page = client.get(address).content.decode()
    assert "Nothing blocks the release" in page
    assert "48\u00a0kHz" in page

    client.post(reverse("delivery:release", args=[delivery.pk]), {"note": "Enjoy."})
    delivery.refresh_from_db()
    assert (delivery.state, delivery.note) == ("released", "Enjoy.")
    assert "Remove" not in client.get(address).content.decode()


def test_the_page_follows_a_check_that_runs(client: Client, song: Song) -> None:
    delivery = make_delivery(song=song, state="checking")
    make_track(delivery=delivery)
    client.force_login(song.booking.created_by)
    ask = {"HX-Request": "true", "HX-Target": "delivery-set"}
    part = client.get(page_of(delivery), headers=ask).content.decode()
    assert "delay:2s" in part
    assert "<html" not in part
    assert '<div id="whose-turn" hx-swap-oob="true">' in part
    part = client.get(page_of(delivery), headers=ask | {"HX-Target": "sheet-rows"}).content.decode()
    assert "Channels, microphones, polarity and takes" in part
    assert "delay:2s" not in part


def test_a_failed_check_is_waived_with_a_reason(client: Client, song: Song) -> None:
    failure = {"code": "clipped", "file": "a.wav", "passed": False, "message": "a.wav is clipped."}
    delivery = make_delivery(song=song, state="checked", checks=[failure])
    make_track(delivery=delivery, name="a.wav")
    client.force_login(song.booking.created_by)
    assert "1 failed check blocks the release" in flat(client.get(page_of(delivery)).content.decode())

    address = reverse("delivery:waive", args=[delivery.pk])
    response = client.post(address, {"code": "clipped", "file_name": "a.wav", "reason": ""})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "This field is required" in response.content.decode()
    page = client.post(
        address, {"code": "clipped", "file_name": "a.wav", "reason": "meant to be"}, follow=True
    ).content.decode()
    assert "meant to be" in page
    assert "Release delivery 1" in page


@pytest.mark.parametrize("noted", [{"undecided": True}, {}])  # and as it was stored before that was noted
def test_what_could_not_be_checked_is_not_said_to_have_passed(
    client: Client, song: Song, noted: dict[str, bool]
) -> None:
    words = "Can't tell whether the drums are on the tempo map: there are too few hits to compare."
    unknown = {"code": "on-the-map", "file": None, "passed": True, "message": words} | noted
    rate = {"code": "rate", "file": "a.wav", "passed": True, "message": "a.wav is at 48 kHz."}
    delivery = make_delivery(song=song, state="checked", checks=[unknown, rate], passed=True)
    make_track(delivery=delivery, name="a.wav")

    client.force_login(song.booking.created_by)
    assert "1 passed, 0 failed, 1 undecided" in flat(client.get(page_of(delivery)).content.decode())

    Delivery.objects.update(state="released", released_at=timezone.now())
    client.force_login(song.booking.members.get().user)
    seen = unescape(client.get(page_of(delivery)).content.decode())
    in_print = words.replace("'", "’")
    assert in_print in seen
    assert "is at 48 kHz" not in seen
    delivery.refresh_from_db()
    assert f"UNDECIDED\n\n{in_print}" in sheet_text(delivery, list(delivery.files.all()))


def test_the_sheet_is_written_and_goes_into_the_zip(client: Client, song: Song) -> None:
    delivery = make_delivery(song=song)
    track = make_track(delivery=delivery, crc32=zlib.crc32(b"no sound at all"))
    client.force_login(song.booking.created_by)
    typed = {
        "perspective": "player",
        "begins": "files",
        "tracks-TOTAL_FORMS": "1",
        "tracks-INITIAL_FORMS": "1",
        "tracks-0-id": str(track.pk),
        "tracks-0-channel": "OHL",
        "tracks-0-microphone": "ribbon",
        "tracks-0-polarity": "flipped",
        "tracks-0-take": "7",
        "tracks-0-note": "",
    }
    address = reverse("delivery:describe", args=[delivery.pk])
    assert client.post(address, typed | {"tracks-0-polarity": "sideways"}).status_code == 422
    assert client.post(address, typed | {"tracks-0-channel": "Triangle"}).status_code == 422
    assert client.post(address, typed | {"perspective": "above"}).status_code == 422
    client.post(address, typed)
    with zipfile.ZipFile(io.BytesIO(body(client.get(reverse("delivery:zip", args=[delivery.pk]))))) as seen:
        sheet = seen.read("Cold-Bus-Under-Spoons_delivery-1/delivery-sheet.txt").decode()
    assert "overhead, left; microphone: ribbon; polarity: flipped; take: 7" in sheet
    assert "as the drummer sits" in sheet

    Delivery.objects.update(state="released")
    client.post(address, typed | {"tracks-0-microphone": "another"})
    track.refresh_from_db()
    assert track.microphone == "ribbon"


def test_a_row_of_another_set_cannot_be_written(client: Client, song: Song) -> None:
    delivery, other = make_delivery(song=song), make_track(delivery=make_delivery())
    client.force_login(song.booking.created_by)
    typed = {
        "perspective": "player",
        "begins": "files",
        "tracks-TOTAL_FORMS": "1",
        "tracks-INITIAL_FORMS": "1",
        "tracks-0-id": str(other.pk),
        "tracks-0-microphone": "ribbon",
        "tracks-0-polarity": "flipped",
    }
    client.post(reverse("delivery:describe", args=[delivery.pk]), typed)
    other.refresh_from_db()
    assert other.microphone == ""


def test_a_file_is_taken_out(client: Client, song: Song) -> None:
    track = make_track(delivery=make_delivery(song=song, state="checked"))
    client.force_login(song.booking.created_by)
    client.post(reverse("delivery:remove", args=[track.pk]))
    assert not DeliveryFile.objects.exists()
    assert Delivery.objects.get().state == "open"


def test_the_client_downloads_one_by_one_and_accepts(client: Client, song: Song, member: User) -> None:
    delivery = released(song)
    client.force_login(member)
    page = client.get(page_of(delivery)).content.decode()
    assert "I accept this delivery" in page
    assert "stored-intact" not in page
    for file in delivery.files.all():
        assert body(client.get(reverse("delivery:file", args=[file.pk]))) == SOUNDS[file.name]

    client.post(reverse("delivery:accept", args=[delivery.pk]))
    song.refresh_from_db()
    assert song.stage == "accepted"


def test_the_zip_holds_every_byte_a_sheet_and_sums_that_agree(client: Client, song: Song, member: User) -> None:
    delivery = released(song)
    client.force_login(member)
    response = client.get(reverse("delivery:zip", args=[delivery.pk]))
    content = body(response)
    assert response.headers["Content-Length"] == str(len(content))
    assert 'filename="Cold-Bus-Under-Spoons_delivery-1.zip"' in response.headers["Content-Disposition"]

    folder = "Cold-Bus-Under-Spoons_delivery-1"
    with zipfile.ZipFile(io.BytesIO(content)) as seen:
        assert seen.testzip() is None
        assert {name: seen.read(f"{folder}/{name}") for name in SOUNDS} == SOUNDS
        assert sorted(seen.namelist()) == sorted(f"{folder}/{name}" for name in (*SOUNDS, *PAPERS))
        sums = seen.read(f"{folder}/sha256.txt").decode().splitlines()
    assert sums == [f"{hashlib.sha256(SOUNDS[name]).hexdigest()}  {name}" for name in sorted(SOUNDS)]


def test_the_zip_goes_on_from_any_byte_and_is_the_same_each_time(client: Client, song: Song, member: User) -> None:
    delivery = released(song)
    client.force_login(member)
    address = reverse("delivery:zip", args=[delivery.pk])
    whole = client.get(address)
    content, tag = body(whole), whole.headers["ETag"]
    for start in np.random.default_rng(3).integers(len(content), size=25).tolist():
        rest = client.get(address, headers={"Range": f"bytes={start}-", "If-Range": tag})
        assert rest.status_code == HTTPStatus.PARTIAL_CONTENT
        assert rest.headers["Content-Range"] == f"bytes {start}-{len(content) - 1}/{len(content)}"
        assert content[:start] + body(rest) == content
    assert client.head(address).headers["Content-Length"] == str(len(content))
    assert client.get(address, headers={"Range": f"bytes={len(content)}-"}).status_code == 416


def test_another_state_of_the_set_is_another_zip(client: Client, song: Song) -> None:
    """As long as it is not released: what went out stays as it is."""
    delivery = released(song)
    Delivery.objects.update(state="checked")
    client.force_login(song.booking.created_by)
    address = reverse("delivery:zip", args=[delivery.pk])
    tag = client.head(address).headers["ETag"]
    DeliveryFile.objects.filter(name="KickIn.wav").update(take="9")
    assert client.head(address).headers["ETag"] != tag
    assert client.get(address, headers={"Range": "bytes=5-9", "If-Range": tag}).status_code == HTTPStatus.OK


def test_there_is_no_zip_before_the_check(client: Client, song: Song) -> None:
    delivery = make_delivery(song=song)
    make_track(delivery=delivery)
    client.force_login(song.booking.created_by)
    assert client.get(reverse("delivery:zip", args=[delivery.pk])).status_code == HTTPStatus.NOT_FOUND


def test_files_wait_for_the_balance_and_the_page_says_so(client: Client, song: Song, member: User) -> None:
    delivery = released(song)
    Booking.objects.filter(pk=song.booking_id).update(balance_before_files=True)
    client.force_login(member)
    page = client.get(page_of(delivery)).content.decode()
    assert "released when the balance is recorded" in page
    assert "KickIn.wav" in page
    assert "I accept" not in page
    addresses = [reverse("delivery:zip", args=[delivery.pk])]
    addresses += [reverse("delivery:file", args=[file.pk]) for file in delivery.files.all()]
    assert not any(address in page for address in addresses)
    for address in addresses:
        assert client.get(address).status_code == HTTPStatus.FORBIDDEN

    client.force_login(song.booking.created_by)
    assert client.get(addresses[0]).status_code == HTTPStatus.OK


def test_a_set_that_is_not_released_is_not_there_for_the_client(client: Client, song: Song, member: User) -> None:
    delivery = make_delivery(song=song, state="checked")
    track = make_track(delivery=delivery, crc32=0)
    client.force_login(member)
    for address in (page_of(delivery), reverse("delivery:zip", args=[delivery.pk])):
        assert client.get(address).status_code == HTTPStatus.NOT_FOUND
    assert client.get(reverse("delivery:file", args=[track.pk])).status_code == HTTPStatus.NOT_FOUND
    assert "Delivery" not in client.get(song.get_absolute_url()).content.decode()


def test_tus_brings_tracks_for_a_drummer_only_and_refuses_names_that_cannot_be(
    client: Client, song: Song, member: User
) -> None:
    delivery = make_delivery(song=song, state="checked")

    def send(name: str, content: bytes = SOUNDS["KickIn.wav"]) -> HttpResponse:
        return Sender(client).create(len(content), content, filename=name, purpose="track", target=delivery.pk)

    for user, status in ((make_client(), 404), (member, 404), (song.booking.created_by, 201)):
        client.force_login(user)
        assert send("Kick.wav").status_code == status
    assert Delivery.objects.get().state == "open"
    for name, says in (
        ("sha256.txt", "automatically"),
        ("스" * 100, "too long"),
    ):
        response = send(name)
        assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert says in response.content.decode()
    assert send("empty.wav", b"").status_code in (HTTPStatus.UNPROCESSABLE_ENTITY, HTTPStatus.BAD_REQUEST)
    Delivery.objects.update(state="released")
    assert send("New.wav").status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    client.force_login(member)
    assert send("Mine.wav").status_code == HTTPStatus.FORBIDDEN
    assert DeliveryFile.objects.count() == 1


def test_what_comes_too_early_or_too_late_is_answered_in_a_sentence(client: Client, song: Song) -> None:
    client.force_login(song.booking.created_by)
    early = make_song(stage="on-desk")
    page = client.post(reverse("delivery:open", args=[early.pk]), follow=True).content.decode()
    assert "files are delivered after tracking" in page
    delivery = make_delivery(song=song)
    page = client.post(reverse("delivery:upload", args=[delivery.pk]), follow=True).content.decode()
    assert "Choose a file" in page
    page = client.post(reverse("delivery:check", args=[delivery.pk]), follow=True).content.decode()
    assert "nothing to check yet" in page
    response = client.post(reverse("delivery:release", args=[delivery.pk]), {"note": "x" * 4_001})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    Delivery.objects.update(state="released")
    sent = {"file": SimpleUploadedFile("late.wav", b"late")}
    page = client.post(reverse("delivery:upload", args=[delivery.pk]), sent, follow=True).content.decode()
    assert "open a new one" in page


ROUTES = ("open", "delivery", "upload", "describe", "check", "waive", "release", "accept", "zip", "file", "remove")
READ = ("delivery", "zip", "file")


def address_of(route: str, delivery: Delivery) -> str:
    file = delivery.files.all()[0]
    keys = {"open": delivery.song_id, "file": file.pk, "remove": file.pk}
    return reverse(f"delivery:{route}", args=[keys.get(route, delivery.pk)])


@pytest.mark.parametrize("route", ROUTES)
def test_outsiders_find_nothing_and_nobody_signs_in(client: Client, song: Song, route: str) -> None:
    address = address_of(route, released(song))
    ask = client.get if route in READ else client.post
    assert ask(address).headers["Location"].startswith("/sign-in/")
    client.force_login(make_client())
    assert ask(address).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("route", [route for route in ROUTES if route not in (*READ, "accept")])
def test_a_client_has_no_right_to_the_drummers_moves(client: Client, song: Song, member: User, route: str) -> None:
    client.force_login(member)
    assert client.post(address_of(route, released(song))).status_code == HTTPStatus.FORBIDDEN


def test_a_drummer_has_no_right_to_accept(client: Client, song: Song) -> None:
    client.force_login(make_drummer())
    assert client.post(address_of("accept", released(song))).status_code == HTTPStatus.FORBIDDEN


@pytest.mark.parametrize("route", ROUTES)
def test_each_address_takes_its_own_method(client: Client, song: Song, route: str) -> None:
    client.force_login(song.booking.created_by)
    ask = client.post if route in READ else client.get
    assert ask(address_of(route, released(song))).status_code == HTTPStatus.METHOD_NOT_ALLOWED


@pytest.mark.parametrize("is_drummer", [True, False])
def test_the_page_asks_as_often_with_many_files_as_with_few(
    client: Client, song: Song, member: User, is_drummer: bool
) -> None:
    House.get()  # the first page of all makes its row
    delivery = make_delivery(song=song, state="checked" if is_drummer else "released")
    client.force_login(song.booking.created_by if is_drummer else member)
    counts = []
    for wanted in (3, 300):
        for _ in range(wanted - delivery.files.count()):
            make_track(delivery=delivery, crc32=1)
        with CaptureQueriesContext(connection) as queries:
            client.get(page_of(delivery))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_part_asks_as_often_with_many_sets_as_with_few(client: Client, song: Song) -> None:
    client.force_login(song.booking.created_by)
    client.get(song.get_absolute_url())  # the first page of a house makes its row
    counts = []
    for wanted in (3, 300):
        for _ in range(wanted - song.deliveries.count()):
            make_delivery(song=song)
        with CaptureQueriesContext(connection) as queries:
            client.get(song.get_absolute_url())
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_first_download_of_a_client_is_written_down_once(client: Client, song: Song, member: User) -> None:
    delivery = released(song)
    track, zip_address = delivery.files.first(), reverse("delivery:zip", args=[delivery.pk])
    assert track is not None
    client.force_login(make_drummer())
    client.get(zip_address)
    client.force_login(member)
    client.head(zip_address)
    assert Delivery.objects.get().fetched_at is None, (
        "neither the drummer's look nor a question about the size is a download"
    )

    client.get(reverse("delivery:file", args=[track.pk]))
    client.get(zip_address, headers={"Range": "bytes=10-"})

    assert Delivery.objects.get().fetched_at is not None
    assert song.booking.timeline.filter(text__contains="started to download").count() == 1


@pytest.mark.parametrize(
    "more",
    [
        pytest.param({"tracks-TOTAL_FORMS": "2", "tracks-1-microphone": "one more"}, id="a row too many"),
        pytest.param({"tracks-TOTAL_FORMS": "5", "tracks-INITIAL_FORMS": "5"}, id="rows that are not there"),
        pytest.param({"tracks-TOTAL_FORMS": "0", "tracks-INITIAL_FORMS": "0"}, id="no rows"),
        pytest.param({"tracks-TOTAL_FORMS": "9" * 5_000}, id="a number of 5,000 digits"),
        pytest.param({"tracks-0-id": "9" * 5_000}, id="a key of 5,000 digits"),
    ],
)
def test_a_sheet_with_other_rows_than_files_is_refused(client: Client, song: Song, more: dict[str, str]) -> None:
    delivery = make_delivery(song=song)
    track = make_track(delivery=delivery)
    client.force_login(song.booking.created_by)
    typed = {
        "perspective": "player",
        "begins": "files",
        "tracks-TOTAL_FORMS": "1",
        "tracks-INITIAL_FORMS": "1",
        "tracks-0-id": str(track.pk),
        "tracks-0-microphone": "ribbon",
        "tracks-0-polarity": "flipped",
    }
    answer = client.post(reverse("delivery:describe", args=[delivery.pk]), typed | more)
    assert answer.status_code == 422
    assert list(delivery.files.values_list("microphone", flat=True)) == [""]
