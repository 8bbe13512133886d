from datetime import timedelta

import pytest
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.bookings.services import note_booking, note_song, save_brief, seat_client
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.bookings.turn_page import booking_turn, song_turn
from portal.bookings.turns import ADD_SONG, WRITE_BRIEF, Wait
from tests.factories import make_booking, make_client, make_drummer, make_song

pytestmark = pytest.mark.django_db


def set_wait(song: Song, wait: Wait, days: int) -> None:
    since = timezone.now() - timedelta(days=days)
    Song.objects.filter(pk=song.pk).update(turn=wait.who, waits_for=wait.code, turn_since=since)


@pytest.mark.parametrize("stage", SongStage)
@pytest.mark.parametrize("reader", ["drummer", "client"])
def test_each_stage_of_a_song_reads_well_on_both_sides(stage: SongStage, reader: str) -> None:
    client, drummer = make_client(name="Mara"), make_drummer(name="Jo")
    booking = make_booking(client=client, drummer=drummer, stage=BookingStage.WORKING)
    song = make_song(booking=booking, stage=stage)

    turn = song_turn(song, drummer if reader == "drummer" else client)

    assert turn.yours == (song.turn == reader)
    assert turn.what
    assert "{" not in turn.what
    assert bool(turn.href) == turn.yours
    assert turn.who == {"drummer": "Jo", "client": "Mara", "house": "our checks", "nobody": ""}[song.turn]


def test_before_the_quote_is_accepted_a_song_waits_for_the_quote() -> None:
    client = make_client()
    booking = make_booking(client=client, stage=BookingStage.QUOTED, quote_state="sent")
    song = make_song(booking=booking)
    shown = song_turn(song, client)
    assert (shown.yours, shown.what) == (True, "Read the quote, then accept or decline it.")
    assert shown.href == booking_turn(booking, client).href == f"/bookings/{booking.pk}/quote/"


def test_the_brief_comes_first_and_the_files_after_it() -> None:
    client = make_client()
    song = make_song(booking=make_booking(client=client, stage=BookingStage.AGREED))
    assert song_turn(song, client).href == f"/songs/{song.pk}/brief/"

    save_brief(song=song, by=client)

    song = Song.objects.get(pk=song.pk)
    assert song_turn(song, client).href == f"/songs/{song.pk}/#files"
    assert song_turn(song, client).what == "The brief is written: send the files."


def test_while_working_a_booking_is_with_each_reader_whose_song_waits() -> None:
    client = make_client(name="Mara")
    booking = make_booking(client=client, songs=3, stage=BookingStage.WORKING)
    first, second, third = booking.songs.all()
    set_wait(first, ADD_SONG, days=1)
    set_wait(second, WRITE_BRIEF, days=3)
    set_wait(third, WRITE_BRIEF, days=2)

    for_client, for_drummer = booking_turn(booking, client), booking_turn(booking, booking.created_by)

    assert (for_client.yours, for_client.what) == (True, "2 songs are waiting for you.")
    assert timezone.now() - for_client.since > timedelta(days=2, hours=23)
    assert (for_drummer.yours, for_drummer.what) == (True, "“Song 1”: Add the songs of this booking.")


def test_while_working_whoever_waits_reads_how_many_songs_are_with_the_other() -> None:
    mara = make_client(name="Mara")
    booking = make_booking(client=mara, songs=3, stage=BookingStage.WORKING)
    jo = booking.created_by
    assert booking_turn(booking, jo).what == "3 songs are waiting for Mara."
    for song in booking.songs.filter(position__gt=1):
        Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING)
        note_song(song)
    assert booking_turn(booking, jo).what == "“Song 1”: Waiting for Mara’s brief and files."
    Song.objects.update(stage=SongStage.CHECKING)
    note_booking(booking)
    assert booking_turn(Booking.objects.get(), mara).what == "Our checks are measuring the files."


def test_a_new_quote_stands_beside_the_song_for_both_and_is_the_booking_s_turn() -> None:
    mara = make_client(name="Mara")
    booking = make_booking(client=mara, songs=1, stage=BookingStage.WORKING, quote_state="sent", agreed_once=True)
    Song.objects.update(stage=SongStage.TRACKING)
    note_booking(booking)
    song, booking = Song.objects.get(), Booking.objects.get()
    jo = booking.created_by

    assert (song_turn(song, mara).yours, song_turn(song, jo).yours) == (False, True)
    assert "accept or decline it" in song_turn(song, mara).also
    assert song_turn(song, jo).also == (
        "Waiting for Mara’s answer to the new quote. Until it is accepted the old one stays valid."
    )
    assert song_turn(song, mara).also_href == booking_turn(booking, mara).href == f"/bookings/{booking.pk}/quote/"
    assert booking_turn(booking, mara).yours


def test_several_clients_are_the_client() -> None:
    booking = make_booking(client=make_client(name="Mara"), stage=BookingStage.QUOTED, quote_state="sent")
    assert booking_turn(booking, booking.created_by).who == "Mara"
    seat_client(booking=booking, client=make_client(name="Leo"), by=booking.created_by)
    assert booking_turn(booking, booking.created_by).who == "the client"


def test_when_it_is_over_it_is_nobody_s_turn() -> None:
    client = make_client()
    booking = make_booking(client=client, songs=1, stage=BookingStage.CANCELLED)
    turn = song_turn(booking.songs.get(), client)
    assert (turn.yours, turn.who) == (False, "")
    assert "cancelled" in turn.what
    assert booking.songs.get().turn == Turn.NOBODY
