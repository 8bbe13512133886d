from http import HTTPStatus

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from portal.bookings.board_page import CARDS_PER_PAGE
from portal.bookings.models import Booking
from portal.bookings.services import record
from portal.bookings.stages import BookingStage, SongStage
from tests.factories import make_booking, make_client, make_drummer, make_song
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db

NEW_BOOKING = {
    "title": "Cold Bus Under Spoons",
    "song_titles": "One\n\n  Two  \n",
    "due_on": "2030-05-01",
    "client_name": "Mara",
    "client_email": "Mara@Example.com",
}


def test_home_leads_each_to_their_own_first_page(client: Client) -> None:
    assert client.get("/").headers["Location"] == reverse("people:sign-in")
    client.force_login(make_drummer())
    assert client.get("/").headers["Location"] == reverse("intake:desk")
    client.force_login(make_client())
    assert client.get("/").headers["Location"] == reverse("bookings:board")


def test_the_board_shows_a_client_only_their_own(client: Client) -> None:
    mara = make_client()
    make_booking(client=mara, title="Cold Bus Under Spoons")
    make_booking(client=make_client(), title="Somebody else’s")

    client.force_login(mara)
    page = client.get(reverse("bookings:board")).content.decode()
    assert "Cold Bus Under Spoons" in page
    assert "Somebody else" not in page

    client.force_login(make_drummer())
    page = client.get(reverse("bookings:board")).content.decode()
    assert "Cold Bus Under Spoons" in page
    assert "Somebody else" in page


def test_an_empty_board_says_what_happens_next(client: Client) -> None:
    client.force_login(make_client())
    assert "When the drummer invites you" in client.get(reverse("bookings:board")).content.decode()
    client.force_login(make_drummer())
    assert "Create one" in client.get(reverse("bookings:board")).content.decode()


def test_the_board_asks_the_database_as_often_for_300_bookings_as_for_3(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    drummer = make_drummer()
    client.force_login(drummer)
    for number in range(3):
        make_booking(drummer=drummer, client=make_client(), songs=2, title=f"first {number}")
    client.get(reverse("bookings:board"))
    # The session, the reader, how many there are in each lane, the bookings, their members, the members' users, their
    # songs.
    with django_assert_num_queries(7):
        client.get(reverse("bookings:board"))

    fill_up_to(300)
    with django_assert_num_queries(7):
        response = client.get(reverse("bookings:board"))
    assert response.content.decode().count('<li class="card') == CARDS_PER_PAGE


def fill_up_to(total: int) -> None:
    """Many bookings at once, each with a song and a client, without the services' many small steps."""
    pattern = Booking.objects.first()
    assert pattern is not None
    member, song = pattern.members.get(), pattern.songs.first()
    assert song is not None
    made = Booking.objects.bulk_create(
        Booking(title=f"booking {number}", created_by=pattern.created_by)
        for number in range(total - Booking.objects.count())
    )
    type(member).objects.bulk_create(type(member)(booking=booking, user=member.user) for booking in made)
    type(song).objects.bulk_create(type(song)(booking=booking, title="Song", position=1) for booking in made)


def test_a_new_booking_leads_to_its_quote(client: Client) -> None:
    client.force_login(make_drummer())

    response = client.post(reverse("bookings:new"), NEW_BOOKING)

    booking = Booking.objects.get()
    assert response.headers["Location"] == reverse("money:quote", args=[booking.pk])
    assert [song.title for song in booking.songs.all()] == ["One", "Two"]
    assert booking.members.get().user.email == "mara@example.com"


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"title": ""}, "required"),
        ({"song_titles": "  \n "}, "required"),
        ({"song_titles": "x" * 121}, "at most 120 characters"),
        ({"song_titles": "\n".join(["song"] * 41)}, "That is 41 songs"),
        ({"client_email": "mara"}, "valid email"),
        ({"client_email": "jo@example.com"}, "drummer of this house"),
        ({"due_on": "tomorrow"}, "valid date"),
    ],
)
def test_what_is_wrong_with_a_new_booking_is_said_and_nothing_is_made(
    client: Client, wrong: dict[str, str], sentence: str
) -> None:
    client.force_login(make_drummer(email="jo@example.com"))
    page = client.post(reverse("bookings:new"), NEW_BOOKING | wrong).content.decode()
    assert sentence in page
    assert not Booking.objects.exists()
    if "title" not in wrong:
        assert "Cold Bus Under Spoons" in page  # what was typed is still there


def test_a_client_opens_no_booking(client: Client) -> None:
    client.force_login(make_client())
    assert client.post(reverse("bookings:new"), NEW_BOOKING).status_code == HTTPStatus.FORBIDDEN


@pytest.mark.parametrize("stage", BookingStage)
def test_a_booking_s_page_at_every_stage_for_both(client: Client, stage: BookingStage) -> None:
    user = make_client()
    booking = make_booking(client=user, songs=2, stage=stage, title="Cold Bus Under Spoons")
    for reader in (user, booking.created_by):
        client.force_login(reader)
        response = client.get(booking.get_absolute_url())
        assert response.status_code == HTTPStatus.OK
        assert "opened the booking" in response.content.decode()


@pytest.mark.parametrize("stage", SongStage)
def test_a_song_s_page_at_every_stage_for_both(client: Client, stage: SongStage) -> None:
    user = make_client()
    booking = make_booking(client=user, stage=BookingStage.WORKING)
    song = make_song(booking=booking, stage=stage, title="Tin Bath With Raisins")
    for reader in (user, booking.created_by):
        client.force_login(reader)
        response = client.get(song.get_absolute_url())
        assert response.status_code == HTTPStatus.OK
        assert "added the song “Tin Bath With Raisins”" in response.content.decode()


def test_the_newest_eight_of_the_timeline_stand_there_and_the_rest_unfolds(client: Client) -> None:
    song = make_song(booking=make_booking(stage=BookingStage.WORKING), title="Tin Bath With Raisins")
    for number in range(20):
        record(song.booking, f"thing {number} happened", song=song)
    client.force_login(song.booking.created_by)
    for address in (song.get_absolute_url(), song.booking.get_absolute_url()):
        page = client.get(address).content.decode()
        seen, unfolds = page.split('id="timeline"')[1].split("<details>", 1)
        assert [f"hing {number} happened" in seen for number in (19, 12, 11)] == [True, True, False]
        assert "hing 11 happened" in unfolds
        assert "hing 0 happened" in unfolds
        assert seen.count("<li>") == 8


def test_outsiders_find_no_booking_and_no_song(client: Client) -> None:
    song = make_song(client=make_client())
    client.force_login(make_client())
    for address in (
        song.get_absolute_url(),
        song.booking.get_absolute_url(),
        reverse("bookings:brief", args=[song.pk]),
    ):
        assert client.get(address).status_code == HTTPStatus.NOT_FOUND


def test_the_drummer_adds_a_song(client: Client) -> None:
    booking = make_booking()
    client.force_login(booking.created_by)
    address = reverse("bookings:add-song", args=[booking.pk])

    assert client.get(address).status_code == HTTPStatus.METHOD_NOT_ALLOWED
    assert "required" in client.post(address, {"title": " "}).content.decode()
    client.post(address, {"title": "One more"})

    assert booking.songs.get().title == "One more"


def test_a_song_too_late_is_told(client: Client) -> None:
    booking = make_booking(stage=BookingStage.CLOSED)
    client.force_login(booking.created_by)
    page = client.post(reverse("bookings:add-song", args=[booking.pk]), {"title": "One more"}, follow=True)
    assert "open a new one for more songs" in page.content.decode()


def test_a_client_neither_adds_a_song_nor_cancels(client: Client) -> None:
    user = make_client()
    booking = make_booking(client=user)
    client.force_login(user)
    for name in ("bookings:add-song", "bookings:cancel"):
        response = client.post(reverse(name, args=[booking.pk]), {"title": "One more"})
        assert response.status_code == HTTPStatus.FORBIDDEN


def test_the_drummer_cancels_once(client: Client) -> None:
    booking = make_booking(client=make_client())
    client.force_login(booking.created_by)
    address = reverse("bookings:cancel", args=[booking.pk])

    assert "at most 200" in client.post(address, {"reason": "x" * 201}).content.decode()
    client.post(address, {"reason": "The studio flooded"})
    again = client.post(address, {"reason": "again"}, follow=True)

    booking.refresh_from_db()
    assert booking.stage == BookingStage.CANCELLED
    assert "already cancelled" in again.content.decode()


def test_a_song_of_a_booking_that_is_over_is_at_no_stage_and_its_brief_stands(client: Client) -> None:
    user = make_client()
    song = make_song(client=user, stage=SongStage.ON_DESK)
    client.force_login(user)
    page = client.get(song.get_absolute_url()).content.decode()
    assert "Now:" in page
    assert "the brief</a>" in page
    song.booking.move_to(BookingStage.CANCELLED)

    page = client.get(song.get_absolute_url()).content.decode()
    assert "Now:" not in page
    assert "the brief</a>" not in page
    brief = client.get(reverse("bookings:brief", args=[song.pk])).content.decode()
    assert "This booking is cancelled, so its briefs can no longer change." in flat(brief)


def test_the_client_writes_a_brief(client: Client) -> None:
    user = make_client()
    song = make_song(client=user)
    client.force_login(user)
    answers = {"bpm": "112,5", "meter": "6 / 8", "starts": "pickup", "click": "make-map", "notes": "Hits in bar 17"}

    response = client.post(reverse("bookings:brief", args=[song.pk]), answers)

    assert response.headers["Location"] == song.get_absolute_url()
    page = client.get(song.get_absolute_url()).content.decode()
    assert "112.5 bpm" in page
    assert "6/8" in page
    assert "with a pickup before bar one" in page


@pytest.mark.parametrize("bpm", ["0", "-5", "abc", "1e9"])
def test_a_tempo_that_cannot_be_is_told_and_nothing_written_is_lost(client: Client, bpm: str) -> None:
    user = make_client()
    song = make_song(client=user)
    client.force_login(user)
    answers = {"bpm": bpm, "starts": "unknown", "click": "unsaid", "notes": "Hits in bar 17"}

    page = client.post(reverse("bookings:brief", args=[song.pk]), answers).content.decode()

    assert "errorlist" in page
    assert f'value="{bpm}"' in page
    assert "Hits in bar 17" in page
    song.brief.refresh_from_db()
    assert song.brief.bpm is None
    assert not song.brief.is_written


def test_a_brief_is_only_read_once_the_song_is_tracked(client: Client) -> None:
    user = make_client()
    song = make_song(client=user, stage=SongStage.TRACKING)
    client.force_login(user)
    address = reverse("bookings:brief", args=[song.pk])

    assert "The brief is closed" in client.get(address).content.decode()
    answer = client.post(address, {"bpm": "112", "starts": "unknown", "click": "unsaid"}, follow=True)

    assert "write a message if something has changed" in answer.content.decode()
    song.brief.refresh_from_db()
    assert song.brief.bpm is None
