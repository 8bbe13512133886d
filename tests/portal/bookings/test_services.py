from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from portal.bookings import hooks
from portal.bookings.errors import BookingClosedError, BriefClosedError
from portal.bookings.models import Booking, Brief, Song
from portal.bookings.services import (
    add_song,
    cancel_booking,
    create_booking,
    move_booking,
    move_song,
    note_booking,
    note_song,
    open_booking,
    record,
    save_brief,
    seat_client,
)
from portal.bookings.stages import INTAKE_STAGES, OVER_STAGES, BookingStage, SongStage, Turn
from portal.people.errors import DrummerAddressError
from tests.factories import make_booking, make_client, make_drummer, make_song

pytestmark = pytest.mark.django_db


@pytest.fixture
def saved_briefs(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The songs that the registered callables heard of."""
    heard: list[int] = []
    monkeypatch.setattr(hooks, "on_brief_saved", [heard.append])
    return heard


@pytest.fixture(autouse=True)
def quiet_cancelling(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hooks, "on_booking_cancelled", [])


def lines_of(booking: Booking) -> list[str]:
    return [entry.text for entry in booking.timeline.all()]


def test_opening_a_booking_seats_the_client_and_numbers_the_songs() -> None:
    drummer = make_drummer(time_zone="Europe/Rome")
    booking = open_booking(
        by=drummer,
        title="Cold Bus Under Spoons",
        song_titles=["One", "Two"],
        client_name="Mara",
        client_email="Mara@example.com",
    )

    assert (booking.stage, booking.turn, booking.due_zone) == (BookingStage.ENQUIRY, Turn.DRUMMER, "Europe/Rome")
    assert [(song.position, song.title) for song in booking.songs.all()] == [(1, "One"), (2, "Two")]
    assert [member.user.email for member in booking.members.all()] == ["mara@example.com"]
    assert lines_of(booking)[0] == "opened the booking"


def test_a_booking_for_a_drummer_s_address_is_not_half_made() -> None:
    jo = make_drummer(email="jo@example.com")
    with pytest.raises(DrummerAddressError):
        open_booking(
            by=jo, title="Cold Bus Under Spoons", song_titles=["One"], client_name="Jo", client_email="jo@example.com"
        )
    assert not Booking.objects.exists()


def test_a_seat_is_given_once() -> None:
    booking, client = make_booking(), make_client()
    seat_client(booking=booking, client=client, by=booking.created_by)
    seat_client(booking=booking, client=client, by=booking.created_by)
    assert lines_of(booking).count(f"gave {client.name} access to this booking") == 1


@pytest.mark.parametrize("stage", OVER_STAGES)
def test_nothing_is_added_to_what_is_over(stage: BookingStage) -> None:
    booking = make_booking(stage=stage)
    with pytest.raises(BookingClosedError, match="open a new one"):
        add_song(booking=booking, title="One more", by=booking.created_by)
    with pytest.raises(BookingClosedError, match="already"):
        cancel_booking(booking=booking, by=booking.created_by, reason="")


def test_a_song_added_after_delivery_takes_the_booking_back_to_work() -> None:
    booking = make_booking(songs=1, stage=BookingStage.DELIVERED)
    booking.songs.update(stage=SongStage.DELIVERED)

    add_song(booking=booking, title="One more", by=booking.created_by)

    booking.refresh_from_db()
    assert booking.stage == BookingStage.WORKING


def test_a_brief_is_written_once_and_calls_whoever_asked(saved_briefs: list[int]) -> None:
    client = make_client()
    song = make_song(client=client)

    brief = save_brief(song=song, by=client, bpm=Decimal("112.5"), meter="4/4", starts=Brief.Starts.COUNT_IN)

    brief.refresh_from_db()
    assert (brief.bpm, brief.meter, brief.starts, brief.updated_by) == (Decimal("112.5"), "4/4", "count-in", client)
    assert saved_briefs == [song.pk]
    assert lines_of(song.booking)[-1] == "wrote the brief"


def test_the_same_brief_again_starts_nothing_and_a_change_is_named(saved_briefs: list[int]) -> None:
    client = make_client()
    song = make_song(client=client)
    save_brief(song=song, by=client, bpm=Decimal(112))
    save_brief(song=song, by=client, bpm=Decimal("112.00"))
    assert saved_briefs == [song.pk]

    save_brief(song=song, by=client, bpm=Decimal(110), notes="Softer in the bridge")

    assert saved_briefs == [song.pk, song.pk]
    assert lines_of(song.booking)[-1] == "changed the brief: tempo, notes"


def test_an_empty_brief_counts_as_written(saved_briefs: list[int]) -> None:
    client = make_client()
    song = make_song(client=client)
    assert save_brief(song=song, by=client).is_written
    assert saved_briefs == [song.pk]


def test_a_tempo_that_cannot_be_is_not_stored(saved_briefs: list[int]) -> None:
    client = make_client()
    song = make_song(client=client)
    with pytest.raises(ValidationError):
        save_brief(song=song, by=client, bpm=Decimal(0))
    song.brief.refresh_from_db()
    assert song.brief.bpm is None
    assert saved_briefs == []


@pytest.mark.parametrize("stage", [stage for stage in SongStage if stage not in INTAKE_STAGES])
def test_a_brief_stands_once_the_song_is_tracked(stage: SongStage) -> None:
    client = make_client()
    song = make_song(client=client, stage=stage)
    with pytest.raises(BriefClosedError, match="write a message"):
        save_brief(song=song, by=client, bpm=Decimal(112))


def test_a_brief_stands_once_the_booking_is_over() -> None:
    client = make_client()
    song = make_song(client=client)
    song.booking.move_to(BookingStage.CANCELLED)
    with pytest.raises(BriefClosedError, match="This booking is cancelled: write a message"):
        save_brief(song=song, by=client, bpm=Decimal(112))


def test_cancelling_says_why_and_calls_whoever_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    heard: list[tuple[int, int, str]] = []
    monkeypatch.setattr(hooks, "on_booking_cancelled", [lambda *keys: heard.append(keys)])
    booking = make_booking()

    cancel_booking(booking=booking, by=booking.created_by, reason="The studio flooded")

    booking.refresh_from_db()
    assert (booking.stage, booking.turn) == (BookingStage.CANCELLED, Turn.NOBODY)
    assert lines_of(booking)[-1] == "cancelled the booking: The studio flooded"
    assert heard == [(booking.pk, booking.created_by.pk, "The studio flooded")]


def test_moving_to_where_a_song_stands_writes_nothing() -> None:
    song = make_song()
    move_song(song, SongStage.WAITING, text="waits")
    assert "waits" not in lines_of(song.booking)


def test_a_booking_works_while_its_songs_do_and_closes_when_all_are_accepted() -> None:
    booking = make_booking(songs=2, stage=BookingStage.AGREED)
    first, second = booking.songs.all()

    def stage_after(song: Song, stage: SongStage) -> tuple[str, str]:
        move_song(song, stage, text="moved")
        booking.refresh_from_db()
        return booking.stage, booking.turn

    assert stage_after(first, SongStage.CHECKING) == (BookingStage.WORKING, Turn.CLIENT)
    assert stage_after(first, SongStage.ON_DESK) == (BookingStage.WORKING, Turn.DRUMMER)
    assert stage_after(first, SongStage.DELIVERED) == (BookingStage.WORKING, Turn.CLIENT)
    assert stage_after(second, SongStage.DELIVERED) == (BookingStage.DELIVERED, Turn.CLIENT)
    assert stage_after(first, SongStage.ACCEPTED) == (BookingStage.DELIVERED, Turn.CLIENT)
    assert stage_after(second, SongStage.ACCEPTED) == (BookingStage.CLOSED, Turn.NOBODY)
    assert lines_of(booking)[-1] == "all songs are accepted: the booking is closed"


def test_a_cancelled_booking_follows_its_songs_no_more() -> None:
    booking = make_booking(songs=1, stage=BookingStage.CANCELLED)
    move_song(booking.songs.get(), SongStage.ACCEPTED, text="moved")
    booking.refresh_from_db()
    assert booking.stage == BookingStage.CANCELLED


def test_the_timeline_is_written_once() -> None:
    booking = make_booking()
    entry = record(booking, "x" * 400)
    assert len(entry.text) == 300
    entry.text = "something else"
    with pytest.raises(TypeError):
        entry.save()
    with pytest.raises(TypeError):
        entry.delete()


def test_the_turn_s_date_stays_while_the_turn_does() -> None:
    booking = make_booking()
    since = booking.turn_since
    booking.note(quote_state="sent")
    move_booking(booking, BookingStage.QUOTED, text="quoted")
    after_quote = booking.turn_since
    assert since < after_quote

    note_booking(booking, balance_before_files=True)

    booking.refresh_from_db()
    assert booking.turn_since == after_quote  # still the client's turn, for the same quote
    assert create_booking(by=make_drummer(), title="x", song_titles=[]).turn == Turn.DRUMMER


def test_the_turn_s_date_is_new_when_something_else_is_waited_for() -> None:
    song = make_song(client=make_client(), stage=SongStage.WAITING)
    assert (song.turn, song.waits_for) == (Turn.CLIENT, "write-brief")

    save_brief(song=song, by=song.booking.created_by)

    after = Song.objects.get(pk=song.pk)
    assert (after.turn, after.waits_for) == (Turn.CLIENT, "send-files")
    assert after.turn_since > song.turn_since


def test_a_fact_that_nobody_knows_is_refused() -> None:
    with pytest.raises(TypeError, match="no such fact: map_aproved"):
        note_song(make_song(), map_aproved=True)  # type: ignore[call-arg]
