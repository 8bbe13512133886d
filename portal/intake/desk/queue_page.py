"""The drummer's queue: every song on its way to being ready, what stops it first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from django.db import models
from django.db.models import Prefetch

from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Member, Song
from portal.bookings.stages import INTAKE_STAGES, OVER_STAGES, SongStage, Turn
from portal.bookings.turn_page import DESK_CODES, song_turn
from portal.intake import hooks
from portal.intake.models import Finding
from portal.people.models import User

RANK_BY_SEVERITY = {Finding.Severity.STOP: 0, Finding.Severity.ASK: 1}
NOTHING_STOPS = 2
MOST_WORDS = 3
# Within one rank, what a drummer can act on comes first.
TURN_ORDER = {Turn.DRUMMER: 0, Turn.CLIENT: 1, Turn.HOUSE: 2, Turn.NOBODY: 3}


class Show(models.TextChoices):
    """Which songs of the queue to look at."""

    ALL = "all", "all"
    YOURS = "yours", "your turn"
    STOPS = "stops", "blocked"
    CLEAR = "clear", "not blocked"
    CLIENT = "client", "with the client"
    ASIDE = "aside", "set aside"


@dataclass(frozen=True)
class Look:
    """One way of looking at the queue: which songs, and words of song, booking or client."""

    show: Show = Show.ALL
    words: str = ""

    @property
    def query(self) -> str:
        return urlencode({name: value for name, value in (("show", self.show), ("words", self.words)) if value})

    def takes(self, row: DeskRow) -> bool:
        text = f"{row.song.title} {row.song.booking.title} {row.clients}".casefold()
        return row.is_shown_as(self.show) and all(word in text for word in self.words.casefold().split())


@dataclass(frozen=True)
class DeskRow:
    song: Song
    severity: str
    titles: Sequence[str]
    more: int
    clients: str
    # What it waits for, in words for the drummer.
    waits: str
    is_aside: bool = False
    objection: str = ""

    @property
    def is_yours(self) -> bool:
        return self.song.turn == Turn.DRUMMER and not self.is_aside

    @property
    def is_undecided(self) -> bool:
        """Here is something to decide: a song that is ready waits at the kit, not on the desk."""
        return self.is_yours and self.song.waits_for in DESK_CODES

    def is_shown_as(self, show: Show) -> bool:
        if show == Show.CLIENT:
            return self.song.turn == Turn.CLIENT
        if show == Show.CLEAR:
            return self.is_measured and not self.severity
        return {Show.YOURS: self.is_yours, Show.STOPS: self.severity == "stop", Show.ASIDE: self.is_aside}.get(
            show, True
        )

    @property
    def is_measured(self) -> bool:
        return self.song.stage in (SongStage.ON_DESK, SongStage.READY)

    @property
    def is_being_measured(self) -> bool:
        return self.song.stage == SongStage.CHECKING

    @property
    def words(self) -> str:
        if not self.titles:
            return self.objection or self.waits
        return ", ".join(self.titles) + (f" and {self.more} more" if self.more else "")

    @property
    def order(self) -> tuple[bool, int, int, date, float]:
        rank = {"stop": 0, "ask": 1}.get(self.severity, NOTHING_STOPS)
        due_on = self.song.booking.due_on or date.max
        return self.is_aside, rank, TURN_ORDER[Turn(self.song.turn)], due_on, self.song.turn_since.timestamp()


def queue_page(user: User) -> list[DeskRow]:
    """A constant number of queries, whatever the number of songs."""
    flagged = Finding.objects.open().exclude(severity=Finding.Severity.NOTE)
    songs = (
        Song.objects.visible_to(user)
        .filter(stage__in=INTAKE_STAGES)
        .exclude(booking__stage__in=OVER_STAGES)
        .select_related("booking__created_by", "set_aside")
        .prefetch_related(
            Prefetch("findings", queryset=flagged, to_attr="flags"),
            Prefetch("booking__members", queryset=Member.objects.select_related("user")),
        )
    )
    queued: list[Song] = list(songs)
    objections = {key: words for more in hooks.more_reasons_against for key, words in more(queued).items()}
    return sorted((row_of(song, objections.get(song.pk, ""), user) for song in queued), key=lambda row: row.order)


def next_after(song: Song, user: User) -> Song | None:
    """The song to decide about after this one, and round to the first again."""
    rows = queue_page(user)
    place = next((number for number, row in enumerate(rows) if row.song == song), -1)
    waiting = [row.song for row in rows[place + 1 :] + rows[: place + 1] if row.is_undecided and row.song != song]
    return waiting[0] if waiting else None


def count_by_show(rows: Iterable[DeskRow]) -> dict[Show, int]:
    rows = list(rows)
    return {show: sum(row.is_shown_as(show) for row in rows) for show in Show}


def row_of(song: Song, objection: str, user: User) -> DeskRow:
    flags: list[Finding] = song.flags  # type: ignore[attr-defined]  # prefetched by `queue`
    flags = sorted(flags, key=lambda finding: (RANK_BY_SEVERITY[Finding.Severity(finding.severity)], finding.pk))
    titles = list(dict.fromkeys(KIND_BY_CODE[finding.code].title for finding in flags))
    return DeskRow(
        song=song,
        severity=flags[0].severity if flags else Finding.Severity.ASK if objection else "",
        objection=objection,
        titles=titles[:MOST_WORDS],
        more=max(0, len(titles) - MOST_WORDS),
        clients=", ".join(member.user.name for member in song.booking.members.all()),
        waits=song_turn(song, user).what,
        is_aside=hasattr(song, "set_aside"),
    )
