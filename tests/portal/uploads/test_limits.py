"""How much one person may begin, announce and send, and that announcements lock nobody out."""

from __future__ import annotations

import shutil
from datetime import timedelta
from typing import ClassVar

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal.bookings.models import Booking
from portal.people.models import User
from portal.uploads import quota, tasks
from portal.uploads.expiry import KEPT_EMPTY, KEPT_OPEN, expires_at
from portal.uploads.models import Upload
from tests.factories import make_booking, make_drummer
from tests.portal.uploads.receiver import NotingReceiver
from tests.portal.uploads.sending import Sender, row_at

pytestmark = pytest.mark.django_db
GB = 10**9


class BookingReceiver(NotingReceiver):
    """Files count for the booking that is their target."""

    received: ClassVar = []

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:
        return Booking.objects.get(pk=target_id)


@pytest.fixture
def booking(settings: Settings) -> Booking:
    settings.UPLOAD_RECEIVERS = {"note": "tests.portal.uploads.test_limits.BookingReceiver"}
    return make_booking()


def announced_long_ago() -> None:
    Upload.objects.update(touched_at=timezone.now() - quota.RESERVED_FOR - timedelta(seconds=1))


def test_one_person_begins_only_so_many_files_without_a_byte(
    sender: Sender, booking: Booking, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(quota, "MOST_EMPTY_OF_ONE", 2)
    for _ in range(2):
        sender.new(5, target=booking.pk)
    refused = sender.create(5, target=booking.pk)
    assert refused.status_code == 413
    assert refused.content.decode().startswith("You have begun 2 files of which nothing has arrived yet.")

    sender.patch(f"/tus/{Upload.objects.all()[0].pk}/", b"12", 0)

    assert sender.create(5, target=booking.pk).status_code == 201


def test_a_booking_holds_only_so_many_files(
    sender: Sender, booking: Booking, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    monkeypatch.setattr(quota, "MOST_FILES_IN_BOOKING", 2)
    for content in (b"1", b"2"):
        sender.create(1, content, target=booking.pk)
    refused = sender.create(1, b"3", target=booking.pk)
    assert refused.status_code == 413
    assert refused.content.decode().startswith("This booking has 2 files, the most that it may have.")
    client.force_login(make_drummer())  # of the house itself
    assert sender.create(1, b"3", target=booking.pk).status_code == 201


def test_an_empty_part_is_refused(sender: Sender) -> None:
    made = sender.request("POST", "/tus/", Upload_Length=0, Upload_Concat="partial")
    assert (made.status_code, made.content.decode()) == (400, "A part of a file cannot be empty.")


def test_an_announcement_holds_a_booking_s_room_for_a_while_only(
    sender: Sender, booking: Booking, settings: Settings
) -> None:
    settings.LARGEST_BOOKING_BYTES = 1_000
    path = sender.new(1_000, target=booking.pk)
    sender.patch(path, bytes(300), 0)
    assert sender.create(700, target=booking.pk).status_code == 413
    announced_long_ago()
    assert sender.create(701, target=booking.pk).status_code == 413  # what has come counts
    assert sender.create(700, target=booking.pk).status_code == 201


def test_announcements_of_clients_lock_no_drummer_out(
    sender: Sender, booking: Booking, settings: Settings, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    settings.UPLOAD_DISK_RESERVE_BYTES = 2 * GB
    settings.LARGEST_UPLOAD_BYTES = 32 * GB
    free = shutil.disk_usage("/")._replace(free=30 * GB)
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: free)
    assert sender.create(28 * GB, target=booking.pk).status_code == 201
    assert sender.create(1, target=booking.pk).status_code == 413

    client.force_login(make_drummer())
    assert sender.create(20 * GB, target=booking.pk).status_code == 201
    assert sender.create(9 * GB, target=booking.pk).status_code == 413  # their own count

    client.force_login(row_at(f"/tus/{Upload.objects.order_by('created_at')[0].pk}/").owner)
    announced_long_ago()
    assert sender.create(1, target=booking.pk).status_code == 201


def test_one_of_which_nothing_came_expires_sooner(sender: Sender, booking: Booking) -> None:
    empty, begun = row_at(sender.new(5, target=booking.pk)), sender.new(5, target=booking.pk)
    sender.patch(begun, b"12", 0)
    assert expires_at(empty) - empty.touched_at == KEPT_EMPTY
    assert expires_at(row_at(begun)) - row_at(begun).touched_at == KEPT_OPEN
    Upload.objects.update(touched_at=timezone.now() - KEPT_EMPTY - timedelta(seconds=1))

    tasks.expire_abandoned()

    states = {row_at(begun).pk: "open", empty.pk: "expired"}
    assert dict(Upload.objects.values_list("pk", "state")) == states
