"""The board: bookings in lanes, one lane per stage, as one reader sees them; what is over lies in the archive."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Case, F, Prefetch, Value, When
from django.utils import timezone

from portal.bookings.board_filter import BoardFilter
from portal.bookings.models import Booking, BookingQuerySet, Song
from portal.bookings.stages import OVER_STAGES, BookingStage, SongStage
from portal.bookings.turn_page import TurnShown, booking_turn
from portal.people.models import User

CARDS_PER_PAGE = 18
ARCHIVED_PER_PAGE = 25
# What a card says of its songs: a booking may have hundreds.
SONGS = Prefetch(
    "songs",
    queryset=Song.objects.only(
        "booking", "position", "title", "stage", "mix_accepted", "turn", "turn_since", "waits_for"
    ),
)
LANES = (
    (BookingStage.WORKING, "Working"),
    (BookingStage.AGREED, "Agreed, waiting for files"),
    (BookingStage.QUOTED, "Quoted"),
    (BookingStage.ENQUIRY, "Enquiries"),
    (BookingStage.DELIVERED, "Delivered"),
)


@dataclass(frozen=True)
class Card:
    booking: Booking
    turn: TurnShown
    # How many songs are where, in the order of the course: (2, "on the desk").
    songs: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Lane:
    """`count` is how many bookings the whole lane has; `cards` are those of this page."""

    name: str
    count: int
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class BoardPage:
    look: BoardFilter
    lanes: tuple[Lane, ...]
    page: Page[Any]


def board_page(user: User, look: BoardFilter, number: str | None = None) -> BoardPage:
    """As many queries for two thousand bookings as for two. In a lane the reader's turn comes first, then what is due
    first."""
    going_on = Booking.objects.visible_to(user).exclude(stage__in=OVER_STAGES)
    bookings = look.apply(going_on, user, timezone.localdate())
    rank = Case(*(When(stage=stage, then=Value(place)) for place, (stage, _) in enumerate(LANES)))
    ordered = bookings.order_by(rank, F("is_yours").desc(), F("due_on").asc(nulls_last=True), "turn_since", "pk")
    counts = Counter(bookings.order_by().values_list("stage", flat=True))
    paginator = Paginator(with_people(ordered).prefetch_related(SONGS), CARDS_PER_PAGE)
    paginator.count = counts.total()
    page = paginator.get_page(number)
    cards = [Card(booking, booking_turn(booking, user), count_songs(booking)) for booking in page]
    lanes = (
        Lane(name, counts[stage], tuple(card for card in cards if card.booking.stage == stage)) for stage, name in LANES
    )
    return BoardPage(look, tuple(lane for lane in lanes if lane.cards), page)


def archive_page(user: User, look: BoardFilter, number: str | None = None) -> Page[Any]:
    """What is closed, declined or cancelled, the last first."""
    over = Booking.objects.visible_to(user).filter(stage__in=OVER_STAGES)
    bookings = look.apply(over, user, timezone.localdate()).order_by("-turn_since", "-pk")
    return Paginator(with_people(bookings), ARCHIVED_PER_PAGE).get_page(number)


def with_people(bookings: BookingQuerySet) -> BookingQuerySet:
    return bookings.select_related("created_by").prefetch_related("members__user")


def count_songs(booking: Booking) -> tuple[tuple[int, str], ...]:
    songs = (song for song in booking.songs.all() if song.stage != SongStage.TAKEN_OUT)
    in_order = sorted(songs, key=lambda song: (list(SongStage).index(SongStage(song.stage)), song.mix_accepted))
    counts = Counter(song.get_stage_display() for song in in_order)
    return tuple((count, word) for word, count in counts.items())
