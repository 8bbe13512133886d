from datetime import timedelta

import pytest
from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.services import save_brief, seat_client
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.bookings.turns import BOOKING_STEPS, SONG_STEPS, booking_turn, song_turn
from tests.factories import make_booking, make_client, make_drummer, make_song

pytestmark = pytest.mark.django_db


def test_every_stage_says_what_happens() -> None:
    assert set(BOOKING_STEPS) == set(BookingStage)
    assert set(SONG_STEPS) == set(SongStage)


@pytest.mark.parametrize("stage", SongStage)
@pytest.mark.parametrize("reader", ["drummer", "client"])
def test_each_stage_of_a_song_reads_well_on_both_sides(stage: SongStage, reader: str) -> None:
    client, drummer = make_client(name="Mara"), make_drummer(name="Jo")
    booking = make_booking(client=client, drummer=drummer, stage=BookingStage.WORKING)
    song = make_song(booking=booking)
    song.move_to(stage)
    song.refresh_from_db()

    turn = song_turn(song, drummer if reader == "drummer" else client)

    assert turn.yours == (song.turn == reader)
    assert turn.what
    assert "{" not in turn.what
    assert bool(turn.href) == turn.yours
    assert turn.who == {"drummer": "Jo", "client": "Mara", "house": "our checks", "nobody": ""}[song.turn]


def test_before_the_quote_is_accepted_a_song_waits_for_the_quote() -> None:
    client = make_client()
    booking = make_booking(client=client, stage=BookingStage.QUOTED, turn=Turn.CLIENT)
    song = make_song(booking=booking)
    assert song_turn(song, client) == booking_turn(booking, client)
    assert song_turn(song, client).what == "Read the quote, then accept or decline it."
    assert song_turn(song, client).href == f"/bookings/{booking.pk}/quote/"


def test_the_brief_comes_first_and_the_files_after_it() -> None:
    client = make_client()
    song = make_song(booking=make_booking(client=client, stage=BookingStage.AGREED))
    assert song_turn(song, client).href == f"/songs/{song.pk}/brief/"

    save_brief(song=song, by=client)

    song = Song.objects.get(pk=song.pk)
    assert song_turn(song, client).href == f"/songs/{song.pk}/#files"


def test_while_working_a_booking_is_with_each_reader_whose_song_waits() -> None:
    client = make_client(name="Mara")
    booking = make_booking(client=client, songs=3, stage=BookingStage.WORKING, turn=Turn.DRUMMER)
    now = timezone.now()
    first, second, third = booking.songs.all()
    Song.objects.filter(pk=first.pk).update(turn=Turn.DRUMMER, turn_since=now - timedelta(days=1))
    Song.objects.filter(pk=second.pk).update(turn=Turn.CLIENT, turn_since=now - timedelta(days=3))
    Song.objects.filter(pk=third.pk).update(turn=Turn.CLIENT, turn_since=now - timedelta(days=2))

    for_client, for_drummer = booking_turn(booking, client), booking_turn(booking, booking.created_by)

    assert (for_client.yours, for_client.what) == (True, "2 songs wait for you.")
    assert for_client.since == now - timedelta(days=3)
    assert (for_drummer.yours, for_drummer.what) == (True, "One song waits for you.")


def test_while_working_whoever_waits_reads_how_many_songs_are_with_the_other() -> None:
    mara = make_client(name="Mara")
    booking = make_booking(client=mara, songs=3, stage=BookingStage.WORKING, turn=Turn.CLIENT)
    jo = booking.created_by
    assert booking_turn(booking, jo).what == "3 songs wait for Mara."
    booking.songs.filter(position__gt=1).update(turn=Turn.HOUSE)
    assert booking_turn(booking, jo).what == "One song waits for Mara."
    booking.songs.update(turn=Turn.HOUSE)
    booking.pass_turn(Turn.HOUSE)
    assert booking_turn(booking, mara).what == "Our checks are measuring the files."


def test_several_clients_are_the_client() -> None:
    booking = make_booking(client=make_client(name="Mara"), stage=BookingStage.QUOTED, turn=Turn.CLIENT)
    assert booking_turn(booking, booking.created_by).who == "Mara"
    seat_client(booking=booking, client=make_client(name="Leo"), by=booking.created_by)
    assert booking_turn(booking, booking.created_by).who == "the client"


def test_when_it_is_over_it_is_nobody_s_turn() -> None:
    client = make_client()
    booking = make_booking(client=client, songs=1, stage=BookingStage.CANCELLED, turn=Turn.NOBODY)
    turn = song_turn(booking.songs.get(), client)
    assert (turn.yours, turn.who) == (False, "")
    assert "cancelled" in turn.what
