from __future__ import annotations

from typing import ClassVar

import pytest
from pytest_django.fixtures import Settings

from portal.bookings.models import Booking
from portal.people.models import User
from tests.factories import make_booking
from tests.portal.uploads.receiver import NotingReceiver
from tests.portal.uploads.sending import Sender, row_at

pytestmark = pytest.mark.django_db


class BookingReceiver(NotingReceiver):
    """Files count for the booking that is their target."""

    received: ClassVar = []

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:
        return Booking.objects.get(pk=target_id)


@pytest.fixture
def booking(settings: Settings) -> Booking:
    settings.UPLOAD_RECEIVERS = {"note": "tests.portal.uploads.test_quota.BookingReceiver"}
    settings.LARGEST_BOOKING_BYTES = 1_000
    return make_booking()


def test_over_the_booking_s_limit_is_413_with_a_sentence(sender: Sender, booking: Booking) -> None:
    # What is open counts with its whole length, what was received with what it has.
    sender.create(300, bytes(300), target=booking.pk)
    sender.new(400, target=booking.pk)

    response = sender.create(301, target=booking.pk)

    assert response.status_code == 413
    text = response.content.decode().replace("\xa0", " ")
    assert "the booking's files have 700 bytes of 1.0 kB" in text
    assert sender.create(300, target=booking.pk).status_code == 201


def test_another_booking_has_room_of_its_own(sender: Sender, booking: Booking) -> None:
    sender.new(1_000, target=booking.pk)

    assert sender.create(1_000, target=make_booking().pk).status_code == 201


def test_the_same_content_sent_twice_counts_once(sender: Sender, booking: Booking) -> None:
    for _ in range(2):
        sender.create(500, bytes(500), target=booking.pk)

    assert sender.create(500, target=booking.pk).status_code == 201


def test_what_was_given_up_counts_no_more(sender: Sender, booking: Booking) -> None:
    path = sender.new(1_000, target=booking.pk)
    assert sender.create(1, target=booking.pk).status_code == 413

    sender.request("DELETE", path)

    assert sender.create(1_000, target=booking.pk).status_code == 201


def test_parts_count_once_with_the_file_that_they_become(sender: Sender, booking: Booking) -> None:
    path = sender.partial(bytes(600))
    row_at(path)  # nameless: it counts for no booking yet

    assert sender.join(path, target=booking.pk).status_code == 201
    assert sender.create(401, target=booking.pk).status_code == 413


def test_parts_beyond_the_booking_s_limit_are_refused_when_they_are_joined(sender: Sender, booking: Booking) -> None:
    sender.new(500, target=booking.pk)

    assert sender.join(sender.partial(bytes(501)), target=booking.pk).status_code == 413


def test_parts_that_say_nothing_are_held_to_a_booking_s_limit_together(sender: Sender, booking: Booking) -> None:
    sender.partial(bytes(600))

    response = sender.request("POST", "/tus/", Upload_Length=401, Upload_Concat="partial")

    assert response.status_code == 413
    assert "too many unfinished parts" in response.content.decode()


def test_with_an_s3_store_only_two_parts_of_a_file_need_room_here(
    sender: Sender, booking: Booking, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.LARGEST_BOOKING_BYTES = 10**12
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 20 * 1024**2})())

    assert sender.create(10**9, target=booking.pk).status_code == 413
    settings.S3_BUCKET = "kitpost"
    assert sender.create(10**9, target=booking.pk).status_code == 201
