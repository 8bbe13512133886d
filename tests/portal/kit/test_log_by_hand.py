"""The log of takes on the song's page: the same rows as the page at the kit writes."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.bookings.stages import BookingStage
from portal.people.models import User
from tests.factories import make_client, make_song, make_take

pytestmark = pytest.mark.django_db


@pytest.fixture
def song() -> Song:
    return make_song(client=make_client(), stage="tracking")


@pytest.fixture
def drummer(client: Client, song: Song) -> User:
    client.force_login(song.booking.created_by)
    return song.booking.created_by


def log(client: Client, song: Song, **said: object) -> str:
    return str(client.post(reverse("kit:log-take", args=[song.pk]), said, follow=True).content.decode())


def logged(song: Song) -> list[tuple[int, bool, str]]:
    return list(song.take_logs.standing().order_by("number").values_list("number", "is_kept", "word"))


@pytest.mark.usefixtures("drummer")
def test_a_take_is_logged_by_hand_after_those_that_are_there(client: Client, song: Song) -> None:
    make_take(song=song, number=4)
    assert 'value="5"' in client.get(song.get_absolute_url()).content.decode()
    page = log(client, song, number=5, is_kept="on", word="push the bridge")
    assert "Take 5 is logged." in page
    assert "push the bridge" in page
    assert "Take 5 is in the log already. The next free number is 6." in log(client, song, number=5)
    assert "Take:" in log(client, song, number=0)
    assert logged(song) == [(4, True, ""), (5, True, "push the bridge")]


@pytest.mark.usefixtures("drummer")
def test_a_take_is_changed_and_taken_out_unless_a_device_changed_it_meanwhile(client: Client, song: Song) -> None:
    take = make_take(song=song, number=1)
    address = reverse("kit:change-take", args=[take.pk])
    client.post(address, {"number": 1, "word": "late", "seen": 1})
    assert logged(song) == [(1, False, "late")]
    page = client.post(address, {"number": 1, "word": "early", "seen": 1}, follow=True).content.decode()
    assert "was changed meanwhile" in page
    client.post(address, {"number": 1, "word": "late", "seen": 2, "is_undone": "on"})
    assert logged(song) == []
    take.refresh_from_db()
    assert (take.revision, take.word) == (3, "late")


def test_the_log_is_the_drummers(client: Client, song: Song) -> None:
    make_take(song=song, word="ours alone")
    member = song.booking.members.get().user
    client.force_login(member)
    assert "ours alone" not in client.get(song.get_absolute_url()).content.decode()
    assert client.post(reverse("kit:log-take", args=[song.pk]), {"number": 1}).status_code == 403


@pytest.mark.usefixtures("drummer")
def test_in_a_booking_that_is_over_the_log_stays(client: Client, song: Song) -> None:
    take = make_take(song=song, number=1)
    song.booking.move_to(BookingStage.CLOSED)
    said = "This booking is over: its takes stay as they are."
    assert said in log(client, song, number=2)
    changed = {"number": "1", "word": "late", "revision": str(take.revision), "seen": str(take.revision)}
    assert said in client.post(reverse("kit:change-take", args=[take.pk]), changed, follow=True).content.decode()

    assert logged(song) == [(1, True, "")]
