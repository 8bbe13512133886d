"""Release: links without an account, receipts that are honest, and what a new delivery changed."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal.bookings.models import Booking
from portal.delivery import links, receipts
from portal.delivery.changes import Change, changes_of
from portal.delivery.errors import SetClosedError
from portal.delivery.models import Delivery, DeliveryFile, Receipt, ShareLink
from portal.delivery.receipts import Content, Taker, counted, merged
from portal.people.models import User
from portal.sizes import size_in_words
from tests.factories import make_client, make_delivery, make_rough_mix, make_song, make_track

pytestmark = pytest.mark.django_db
CONTENT = bytes(range(256)) * 4


@pytest.fixture
def member() -> User:
    return make_client(name="Mara Sandquell")


@pytest.fixture
def delivery(member: User) -> Delivery:
    song = make_song(client=member, stage="delivered", title="Cold Bus Under Spoons")
    return make_delivery(song=song, state=Delivery.State.RELEASED, released_at=timezone.now())


@pytest.fixture
def track(delivery: Delivery) -> DeliveryFile:
    return make_track(delivery=delivery, content=CONTENT, name="KickIn.wav", crc32=0)


def take(client: Client, address: str, **headers: str) -> bytes:
    response = client.get(address, headers=headers)
    assert response.status_code in (200, 206), response.status_code
    return b"".join(response.streaming_content)  # type: ignore[attr-defined]


def test_a_file_is_sent_whole_when_every_byte_was_however_many_pieces(
    client: Client, member: User, track: DeliveryFile
) -> None:
    client.force_login(member)
    address = reverse("delivery:file", args=[track.pk])
    assert take(client, address, Range="bytes=0-99") == CONTENT[:100]
    receipt = Receipt.objects.get()
    assert (receipt.user, receipt.sent_bytes, receipt.is_sent_whole) == (member, 100, False)
    page = client.get(reverse("delivery:delivery", args=[track.delivery_id])).content.decode()
    assert f"{size_in_words(100)} of {size_in_words(1024)}" in page
    take(client, address, Range="bytes=500-")
    receipt.refresh_from_db()
    assert (receipt.parts, receipt.is_sent_whole) == ([[0, 100], [500, 1024]], False)
    take(client, address, Range="bytes=90-600")
    receipt.refresh_from_db()
    assert (receipt.parts, receipt.is_sent_whole) == ([[0, 1024]], True)
    page = client.get(reverse("delivery:delivery", args=[track.delivery_id])).content.decode()
    assert f"all {size_in_words(1024)}, " in page
    assert "What was sent need not have arrived" in page
    take(client, address)
    assert Receipt.objects.count() == 2  # taken once more, whole


def test_what_the_connection_did_not_take_does_not_count(member: User, track: DeliveryFile) -> None:
    """Ten pieces of ten bytes: the reader goes away with the fourth piece in hand."""

    def read(start: int, stop: int) -> Iterator[bytes]:
        yield from (CONTENT[at : at + 10] for at in range(start, stop, 10))

    content = Content(Receipt.What.FILE, "x", 100, track)
    pieces = counted(Taker(user=member), track.delivery, content)(read)(0, 100)
    for _ in range(4):
        next(pieces)
    assert Receipt.objects.get().parts == []
    pieces.close()  # type: ignore[attr-defined]
    assert Receipt.objects.get().parts == [[0, 30]]
    assert not Receipt.objects.get().is_sent_whole


def test_heads_conditions_and_the_drummers_own_downloads_leave_no_receipt(
    client: Client, member: User, track: DeliveryFile
) -> None:
    address = reverse("delivery:file", args=[track.pk])
    client.force_login(member)
    etag = client.head(address).headers["ETag"]
    assert client.get(address, headers={"If-None-Match": etag}).status_code == 304
    assert client.get(address, headers={"Range": "bytes=9999-"}).status_code == 416
    client.force_login(track.delivery.song.booking.created_by)
    take(client, address)
    assert not Receipt.objects.exists()


def test_where_another_server_sends_the_bytes_nothing_is_claimed(
    client: Client, member: User, track: DeliveryFile, settings: Settings
) -> None:
    settings.ACCEL_PREFIX = "/store/"
    client.force_login(member)
    assert client.get(reverse("delivery:file", args=[track.pk])).headers["X-Accel-Redirect"]
    receipt = Receipt.objects.get()
    assert (receipt.counted, receipt.is_sent_whole, receipts.are_sent_by_us()) == (False, False, False)
    page = client.get(reverse("delivery:delivery", args=[track.delivery_id])).content.decode()
    assert "not known: another server sends the bytes" in page


@pytest.mark.parametrize(
    ("parts", "whole"),
    [
        ([], []),
        ([[5, 9], [0, 5]], [[0, 9]]),
        ([[0, 4], [6, 8], [3, 7]], [[0, 8]]),
        ([[0, 9], [2, 3]], [[0, 9]]),
        ([[0, 1], [2, 3]], [[0, 1], [2, 3]]),
    ],
)
def test_stretches_are_put_together(parts: list[list[int]], whole: list[list[int]]) -> None:
    assert merged(parts) == whole


def test_a_link_opens_one_delivery_for_somebody_without_an_account(
    client: Client, member: User, delivery: Delivery, track: DeliveryFile
) -> None:
    client.force_login(member)
    said = {"made_for": "the mix engineer", "days": "7"}
    page = client.post(reverse("delivery:share", args=[delivery.pk]), said, follow=True).content.decode()
    link = ShareLink.objects.get()
    assert links.page_of(link) in page
    stranger = Client()
    answer = stranger.get(links.page_of(link))
    body = answer.content.decode()
    assert "KickIn.wav" in body
    assert (answer.headers["Cache-Control"], answer.headers["Referrer-Policy"]) == ("no-store", "no-referrer")
    for hidden in ("Mara Sandquell", delivery.song.get_absolute_url(), "/bookings/", "/deliveries/"):
        assert hidden not in body
    assert take(stranger, links.file_address(link, track), Range="bytes=10-19") == CONTENT[10:20]
    packed = zipfile.ZipFile(io.BytesIO(take(stranger, links.zip_address(link))))
    assert any(name.endswith("KickIn.wav") for name in packed.namelist())
    assert set(Receipt.objects.filter(link=link, user=None).values_list("what", flat=True)) == {"file", "zip"}
    assert "link for the mix engineer" in client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()


def test_a_link_ends_by_time_or_by_hand_and_forgeries_lead_nowhere(
    client: Client, member: User, delivery: Delivery, track: DeliveryFile
) -> None:
    link = links.make_link(delivery=delivery, made_for="the label", days=1, by=member)
    addresses = [links.page_of(link), links.zip_address(link), links.file_address(link, track)]
    client.force_login(member)
    for _ in range(2):
        client.post(reverse("delivery:withdraw-link", args=[link.pk]))
    for address in addresses:
        answer = Client().get(address)
        assert (answer.status_code, answer.headers["Cache-Control"]) == (410, "no-store")
        assert "was withdrawn" in answer.content.decode()
    assert delivery.song.timeline.filter(text__contains="withdrew the link").count() == 1

    ShareLink.objects.update(withdrawn_at=None, expires_at=timezone.now() - timedelta(seconds=1))
    assert "has expired" in Client().get(addresses[0]).content.decode()
    for forged in (f"{link.pk}.x", "none", "1", f"{link.pk + 1}{addresses[0][-45:-1]}"):
        assert Client().get(f"/shared/{forged}/").status_code == 404
    other = make_track(delivery=make_delivery(song=delivery.song, state=Delivery.State.RELEASED))
    ShareLink.objects.update(expires_at=timezone.now() + timedelta(days=1))
    assert Client().get(links.file_address(link, other)).status_code == 404


def test_only_what_is_released_is_shared_and_held_files_stay_held(
    client: Client, member: User, delivery: Delivery, track: DeliveryFile
) -> None:
    with pytest.raises(SetClosedError, match="not released"):
        links.make_link(delivery=make_delivery(song=delivery.song), made_for="x", days=1, by=member)
    link = links.make_link(delivery=delivery, made_for="x", days=1, by=member)
    Booking.objects.update(balance_before_files=True)
    assert "cannot be downloaded yet" in Client().get(links.page_of(link)).content.decode()
    for address in (links.file_address(link, track), links.zip_address(link)):
        assert Client().get(address).status_code == 403
    mix = make_rough_mix(song=delivery.song, state="accepted", proxy_key="proxies/x")
    client.force_login(member)
    page = client.get(reverse("delivery:delivery", args=[delivery.pk])).content.decode()
    assert reverse("takes:audio", args=[mix.pk]) in page
    delivery.refresh_from_db()
    assert delivery.fetched_at is None
    assert not Receipt.objects.exists()


def test_a_new_delivery_says_what_changed_and_offers_only_that(
    client: Client, member: User, delivery: Delivery
) -> None:
    assert changes_of(delivery) is None
    for name in ("KickIn", "Snare", "OHL", "Room"):
        make_track(delivery=delivery, content=name.encode(), name=f"{name}.wav", crc32=0)
    newer = make_delivery(song=delivery.song, state=Delivery.State.RELEASED, released_at=timezone.now())
    new_content = {"KickIn": b"KickIn", "Snare": b"Snare again", "OverL": b"OHL", "Tom1": b"Tom1"}
    for name, content in new_content.items():
        make_track(delivery=newer, content=content, name=f"{name}.wav", crc32=0)
    changes = changes_of(newer)
    assert changes is not None
    assert {file.name: file.change for file in changes.files} == {
        "KickIn.wav": Change.SAME,
        "Snare.wav": Change.CHANGED,
        "OverL.wav": Change.RENAMED,
        "Tom1.wav": Change.NEW,
        "Room.wav": Change.GONE,
    }
    assert changes.in_words == "1 new, 1 changed, 1 renamed, 1 the same, 1 gone"
    client.force_login(member)
    page = client.get(reverse("delivery:delivery", args=[newer.pk])).content.decode()
    assert "Download only what changed" in page
    packed = zipfile.ZipFile(io.BytesIO(take(client, reverse("delivery:changes", args=[newer.pk]))))
    names = sorted(name.rpartition("/")[2] for name in packed.namelist())
    assert names == ["Snare.wav", "Tom1.wav", "delivery-sheet.pdf", "delivery-sheet.txt", "sha256.txt", "sheet.json"]
    (hashes,) = (name for name in packed.namelist() if name.endswith("sha256.txt"))
    assert packed.read(hashes).decode().count("\n") == 2
    assert default_storage.exists(newer.files.current()[0].key)
