"""Which songs of the queue to look at, and in which order: worked out by the database, a page at a time."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any
from urllib.parse import urlencode

from django.db import models
from django.db.models import Case, Count, Exists, F, OuterRef, Q, Value, When
from django.utils import timezone

from portal.bookings.board_filter import due_in
from portal.bookings.models import Member, Song, SongQuerySet
from portal.bookings.stages import INTAKE_STAGES, OVER_STAGES, SongStage, Turn
from portal.bookings.turn_page import DESK_CODES
from portal.folding import any_of, words_in
from portal.intake.models import Finding, SetAside
from portal.people.models import User

STOPPED, ASKED, NOTHING_STOPS = range(3)
# Within one rank, what a drummer can act on comes first.
TURN_ORDER = (Turn.DRUMMER, Turn.CLIENT, Turn.HOUSE, Turn.NOBODY)
MEASURED_STAGES = (SongStage.ON_DESK, SongStage.READY)


class Show(models.TextChoices):
    """Which songs of the queue to look at."""

    ALL = "all", "all"
    YOURS = "yours", "your turn"
    STOPS = "stops", "blocked"
    CLEAR = "clear", "not blocked"
    CLIENT = "client", "with the client"
    ASIDE = "aside", "set aside"


YOURS = Q(turn=Turn.DRUMMER, is_aside=False)
# Here is something to decide: a song that is ready waits at the kit, not on the desk.
UNDECIDED = YOURS & Q(waits_for__in=DESK_CODES)
SHOWN = {
    Show.ALL: Q(),
    Show.YOURS: YOURS,
    Show.STOPS: Q(rank=STOPPED),
    Show.CLEAR: Q(rank=NOTHING_STOPS, stage__in=MEASURED_STAGES),
    Show.CLIENT: Q(turn=Turn.CLIENT),
    Show.ASIDE: Q(is_aside=True),
}


@dataclass(frozen=True)
class Look:
    """One way of looking at the queue: which songs, words of song, booking or client, stage, and due date."""

    show: Show = Show.ALL
    words: str = ""
    stage: str = ""
    due: str = ""

    @property
    def query(self) -> str:
        return urlencode({name: value for name, value in asdict(self).items() if value})

    @property
    def is_narrow(self) -> bool:
        return bool(self.words or self.stage or self.due)

    def shows(self, show: Show) -> Look:
        return Look(show, self.words, self.stage, self.due)

    def narrow(self, songs: SongQuerySet) -> SongQuerySet:
        """Everything but `show`, whose choices are counted beside each other."""
        for word in words_in(self.words):
            seats = Member.objects.filter(any_of(word, "user__folded"), booking=OuterRef("booking"))
            songs = songs.filter(any_of(word, "folded", "booking__folded") | Q(Exists(seats)))
        if self.stage:
            songs = songs.filter(stage=self.stage)
        return songs.filter(due_in(self.due, timezone.localdate(), "booking__due_on"))


def queued(user: User) -> SongQuerySet:
    return Song.objects.visible_to(user).filter(stage__in=INTAKE_STAGES).exclude(booking__stage__in=OVER_STAGES)


def ranked(songs: SongQuerySet, objected: set[int]) -> SongQuerySet:
    """`rank`: what stops a song comes first, then what somebody is asked or objects to."""
    found = Finding.objects.open().filter(song=OuterRef("pk"))
    stops = Exists(found.filter(severity=Finding.Severity.STOP))
    asks = Exists(found.filter(severity=Finding.Severity.ASK))
    rank = Case(
        When(stops, then=Value(STOPPED)),
        When(Q(asks) | Q(pk__in=objected), then=Value(ASKED)),
        default=Value(NOTHING_STOPS),
    )
    return songs.annotate(is_aside=Exists(SetAside.objects.filter(song=OuterRef("pk"))), rank=rank)


def ordered(songs: SongQuerySet) -> SongQuerySet:
    turn = Case(*(When(turn=turn, then=Value(place)) for place, turn in enumerate(TURN_ORDER)))
    due = F("booking__due_on").asc(nulls_last=True)
    return songs.order_by(F("is_aside").asc(), F("rank").asc(), turn, due, "turn_since", "pk")


def count_by_show(songs: SongQuerySet) -> dict[Show, int]:
    counts: dict[str, Any] = songs.aggregate(
        **{f"of_{show.value}": Count("pk", filter=SHOWN[show] or Q(pk__isnull=False)) for show in Show}
    )
    return {show: counts[f"of_{show.value}"] for show in Show}
