"""Both sides read what a song's check waits for, and either can say that all files are sent."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.bookings.stages import BookingStage, SongStage
from portal.intake.desk.waiting_words import waiting_sentences
from portal.intake.files.announcing import announce
from portal.intake.files.waiting import Awaited, Queue, note_change
from portal.intake.models import FileCourse
from portal.people.models import House, User
from tests.factories import make_client, make_song, make_source
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara Quillfen")


@pytest.fixture
def song(mara: User) -> Song:
    song = make_song(client=mara, stage=SongStage.CHECKING)
    make_source(song=song)
    House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 60})
    return song


def files_of(client: Client, song: Song, user: User) -> str:
    client.force_login(user)
    return flat(client.get(reverse("intake:files", args=[song.pk]), headers=HTMX).content.decode())


def test_each_thing_in_words(mara: User) -> None:
    awaited = [Awaited("sent", 1), Awaited("unpacked", 2), Awaited("measured", 1), Awaited("quiet", 40)]

    assert waiting_sentences(awaited, mara) == [
        "Waiting for 1 file that is still being sent.",
        "2 zips are being unpacked.",
        "1 file is being measured.",
        "Waiting 40 s for more files.",
    ]


def test_what_a_browser_announced_is_not_named_twice(mara: User) -> None:
    awaited = [Awaited("queued", 2, Queue(mara.pk, mara.name, 2)), Awaited("sent", 1)]

    assert waiting_sentences(awaited, mara) == ["Waiting for 2 files that are still being sent from your browser."]


def test_both_sides_read_whose_browser_still_sends(client: Client, song: Song, mara: User) -> None:
    announce(song=song, by=mara, tab="a", files=2)

    assert "2 files that are still being sent from your browser" in files_of(client, song, mara)
    drummers = files_of(client, song, song.booking.created_by)
    assert "2 files that are still being sent from the browser of Mara Quillfen" in drummers


def test_that_is_all_ends_the_quiet_time_and_its_button_goes(client: Client, song: Song, mara: User) -> None:
    note_change(song)
    page = files_of(client, song, mara)
    assert "s for more files." in page
    assert "That is all" in page

    part = client.post(reverse("intake:all-sent", args=[song.pk]), headers=HTMX).content.decode()

    assert "That is all" not in part
    assert "for more files" not in part
    assert FileCourse.objects.get().all_sent_by == mara


def test_without_script_it_says_what_is_awaited_even_so(client: Client, song: Song, mara: User) -> None:
    announce(song=song, by=mara, tab="a", files=2)
    client.force_login(mara)

    page = client.post(reverse("intake:all-sent", args=[song.pk]), follow=True).content.decode()

    assert "Waiting for 2 files that are still being sent from your browser." in flat(page)


def test_in_a_booking_that_is_over_nothing_is_awaited(client: Client, song: Song, mara: User) -> None:
    make_source(song=song, status="received", report=None)
    song.move_to(SongStage.CHECKING)
    assert "measured" in files_of(client, song, mara)
    song.booking.move_to(BookingStage.CANCELLED)

    page = files_of(client, song, mara)
    assert "being measured." not in page
    assert "That is all" not in page
    assert "every 2s" not in page
    said = client.post(reverse("intake:all-sent", args=[song.pk]), follow=True).content.decode()
    assert "This booking is over: its songs stay as they are." in said
    assert not FileCourse.objects.filter(all_sent_by=mara).exists()


@pytest.mark.parametrize(
    "data", [{}, {"tab": "a"}, {"tab": "a b", "count": 1}, {"tab": "a", "count": -1}, {"tab": "a" * 41, "count": 1}]
)
def test_an_announcement_that_makes_no_sense_is_refused(
    client: Client, song: Song, mara: User, data: dict[str, object]
) -> None:
    client.force_login(mara)

    assert client.post(reverse("intake:announce", args=[song.pk]), data).status_code == 400


def test_a_tab_announces_and_closes(client: Client, song: Song, mara: User) -> None:
    client.force_login(mara)
    for count, rows in ((3, 1), (2, 1), (0, 0)):
        response = client.post(reverse("intake:announce", args=[song.pk]), {"tab": "a-1", "count": count})
        assert response.status_code == 204
        assert song.announcements.count() == rows
