"""The smallest valid rows, and traits that name states. Every test makes its own; nothing is shared."""

from __future__ import annotations

from decimal import Decimal
from itertools import count
from typing import Any

from portal.bookings import services as bookings
from portal.bookings.models import Booking, Song
from portal.mailroom.models import Mail, Message
from portal.people.models import User

PASSWORD = "ruled-paper-and-ink"
_numbers = count(1)


def make_drummer(**fields: Any) -> User:
    return _make_user(User.Role.DRUMMER, "drummer", **fields)


def make_client(**fields: Any) -> User:
    return _make_user(User.Role.CLIENT, "client", **fields)


def make_invited_client(**fields: Any) -> User:
    """A client who has no password yet."""
    return make_client(password=None, **fields)


def make_booking(*, client: User | None = None, drummer: User | None = None, songs: int = 0, **fields: Any) -> Booking:
    drummer = drummer or make_drummer()
    booking = bookings.create_booking(
        by=drummer,
        title=fields.pop("title", f"Booking {next(_numbers)}"),
        song_titles=[f"Song {number}" for number in range(1, songs + 1)],
    )
    if client is not None:
        bookings.seat_client(booking=booking, client=client, by=drummer)
    if fields:
        Booking.objects.filter(pk=booking.pk).update(**fields)
        booking.refresh_from_db()
    return booking


def make_song(*, booking: Booking | None = None, client: User | None = None, bpm: str = "", **fields: Any) -> Song:
    """A song; with `client`, of a new booking that the client has a seat at; with `bpm`, the brief says this tempo."""
    booking = booking or make_booking(client=client)
    title = fields.pop("title", f"Song {next(_numbers)}")
    song = bookings.add_song(booking=booking, title=title, by=booking.created_by)
    if bpm:
        song.brief.bpm = Decimal(bpm)
        song.brief.save(update_fields=["bpm"])
    if fields:
        Song.objects.filter(pk=song.pk).update(**fields)
        song.refresh_from_db()
    return song


def make_message(*, booking: Booking | None = None, song: Song | None = None, **fields: Any) -> Message:
    booking = booking or (song.booking if song else make_booking())
    number = next(_numbers)
    defaults = {"key": f"test:{number}", "subject": f"Subject {number}", "body": "Which tempo is right?"}
    return Message.objects.create(booking=booking, song=song, **(defaults | fields))


def make_mail(**fields: Any) -> Mail:
    number = next(_numbers)
    defaults = {"to": "mara@example.com", "subject": f"Letter {number}", "body": "Hello.", "key": f"test:{number}"}
    return Mail.objects.create(**(defaults | fields))


def _make_user(role: User.Role, word: str, **fields: Any) -> User:
    number = next(_numbers)
    defaults: dict[str, Any] = {
        "email": f"{word}{number}@example.com",
        "name": f"{word.capitalize()} {number}",
        "password": PASSWORD,
    }
    return User.objects.create_user(role=role, **(defaults | fields))
