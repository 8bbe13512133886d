"""The board: bookings in lanes, one lane per stage, as one reader sees them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from portal.bookings.models import Booking
from portal.bookings.stages import BookingStage, SongStage
from portal.bookings.turns import TurnShown, booking_turn
from portal.people.models import User


@dataclass(frozen=True)
class Card:
    booking: Booking
    turn: TurnShown
    # How many songs are where, in the order of the course: (2, "on the desk").
    songs: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Lane:
    name: str
    cards: tuple[Card, ...]
    is_past: bool = False


LANES = (
    ("Working", (BookingStage.WORKING,)),
    ("Agreed, waiting for files", (BookingStage.AGREED,)),
    ("Quoted", (BookingStage.QUOTED,)),
    ("Enquiries", (BookingStage.ENQUIRY,)),
    ("Delivered", (BookingStage.DELIVERED,)),
)
PAST_LANES = (
    ("Closed", (BookingStage.CLOSED,)),
    ("Declined or cancelled", (BookingStage.DECLINED, BookingStage.CANCELLED)),
)


def lanes_for(bookings: Iterable[Booking], user: User) -> list[Lane]:
    """The lanes with something in them. In a lane the reader's turn comes first, then what is due first."""
    cards = [Card(booking, booking_turn(booking, user), count_songs(booking)) for booking in bookings]
    cards.sort(
        key=lambda card: (not card.turn.yours, card.booking.due_on is None, card.booking.due_on or "", card.turn.since)
    )
    lanes = []
    for names, is_past in ((LANES, False), (PAST_LANES, True)):
        for name, stages in names:
            members = tuple(card for card in cards if card.booking.stage in stages)
            if members:
                lanes.append(Lane(name, members, is_past=is_past))
    return lanes


def count_songs(booking: Booking) -> tuple[tuple[int, str], ...]:
    counts = Counter(song.stage for song in booking.songs.all())
    return tuple((counts[stage], stage.label) for stage in SongStage if counts[stage])
