"""Which bookings of a board or an archive to look at: by words, stage, turn and due date."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from django.db import models
from django.db.models import Exists, OuterRef, Q

from portal.bookings.models import BookingQuerySet, Member, Song
from portal.bookings.stages import Turn
from portal.folding import any_of, words_in
from portal.people.models import User


class Due(models.TextChoices):
    LATE = "late", "overdue"
    WEEK = "week", "in the next 7 days"
    MONTH = "month", "in the next 30 days"
    NONE = "none", "no date"


DAYS = {Due.WEEK: 7, Due.MONTH: 30}


@dataclass(frozen=True)
class BoardFilter:
    words: str = ""
    stage: str = ""
    turn: str = ""
    due: str = ""

    @property
    def query(self) -> str:
        return urlencode({name: value for name, value in asdict(self).items() if value})

    def apply(self, bookings: BookingQuerySet, user: User, today: date) -> BookingQuerySet:
        """`is_yours`: it waits for the reader, or one of its songs does."""
        waiting = Song.objects.filter(booking=OuterRef("pk"), turn=turn_of(user))
        bookings = bookings.annotate(is_yours=Q(turn=turn_of(user)) | Q(Exists(waiting)))
        for word in words_in(self.words):
            bookings = bookings.filter(any_of(word, "folded") | _seat_named(word))
        if self.stage:
            bookings = bookings.filter(stage=self.stage)
        if self.turn:
            theirs = Q(turn=self.turn, is_yours=False)
            bookings = bookings.filter(Q(is_yours=True) if self.turn == turn_of(user) else theirs)
        return bookings.filter(due_in(self.due, today))


def due_in(due: str, today: date, field: str = "due_on") -> Q:
    """Rows by their due date; today is neither over nor far away."""
    if not due:
        return Q()
    if due == Due.NONE:
        return Q(**{f"{field}__isnull": True})
    if due == Due.LATE:
        return Q(**{f"{field}__lt": today})
    return Q(**{f"{field}__range": (today, today + timedelta(days=DAYS[Due(due)]))})


def turn_choices(user: User) -> Sequence[tuple[str, str]]:
    """The turns as this reader calls them."""
    other = Turn.CLIENT if user.is_drummer else Turn.DRUMMER
    return [(turn_of(user), "your turn"), (other, other.label), (Turn.HOUSE, Turn.HOUSE.label)]


def turn_of(user: User) -> Turn:
    return Turn.DRUMMER if user.is_drummer else Turn.CLIENT


def _seat_named(word: str) -> Q:
    return Q(Exists(Member.objects.filter(any_of(word, "user__folded"), booking=OuterRef("pk"))))
