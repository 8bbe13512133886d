"""The drummer's queue: every song on its way to being ready, what stops it first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Prefetch, Q

from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Member, Song, SongQuerySet
from portal.bookings.stages import SongStage, Turn
from portal.bookings.turn_page import DESK_CODES, song_turn
from portal.intake import hooks
from portal.intake.desk.queue_filter import (
    MEASURED_STAGES,
    SHOWN,
    UNDECIDED,
    Look,
    Show,
    count_by_show,
    ordered,
    queued,
    ranked,
)
from portal.intake.models import Finding
from portal.people.models import User

RANK_BY_SEVERITY = {Finding.Severity.STOP: 0, Finding.Severity.ASK: 1}
MOST_WORDS = 3
ROWS_PER_PAGE = 20


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

    @property
    def is_measured(self) -> bool:
        return self.song.stage in MEASURED_STAGES

    @property
    def is_being_measured(self) -> bool:
        return self.song.stage == SongStage.CHECKING

    @property
    def words(self) -> str:
        if not self.titles:
            return self.objection or self.waits
        return ", ".join(self.titles) + (f" and {self.more} more" if self.more else "")


@dataclass(frozen=True)
class QueuePage:
    look: Look
    rows: tuple[DeskRow, ...]
    page: Page[Any]
    counts: dict[Show, int]
    whole: int


def queue_page(user: User, look: Look, number: str | None = None) -> QueuePage:
    """One page of the queue. A constant number of queries, whatever the number of songs."""
    songs = queued(user)
    objections = objections_to(songs)
    looked_at = ranked(look.narrow(songs), set(objections))
    counts = count_by_show(looked_at)
    paginator = Paginator(with_flags(ordered(looked_at.filter(SHOWN[look.show]))), ROWS_PER_PAGE)
    paginator.count = counts[look.show]
    page = paginator.get_page(number)
    whole = songs.count() if look.is_narrow else counts[Show.ALL]
    rows = tuple(row_of(song, objections.get(song.pk, ""), user) for song in page)
    return QueuePage(look, rows, page, counts, whole)


def next_after(song: Song, user: User) -> Song | None:
    """The song to decide about after this one, and round to the first again."""
    songs = queued(user)
    undecided = ordered(ranked(songs, set(objections_to(songs))).filter(UNDECIDED | Q(pk=song.pk)))
    keys = list(undecided.values_list("pk", flat=True))
    place = keys.index(song.pk) if song.pk in keys else -1
    waiting = [key for key in keys[place + 1 :] + keys[: place + 1] if key != song.pk]
    return Song.objects.get(pk=waiting[0]) if waiting else None


def objections_to(songs: SongQuerySet) -> dict[int, str]:
    return {key: words for more in hooks.more_reasons_against for key, words in more(songs).items()}


def with_flags(songs: SongQuerySet) -> SongQuerySet:
    """What a row shows beside its song."""
    flagged = Finding.objects.open().exclude(severity=Finding.Severity.NOTE)
    return songs.select_related("booking__created_by", "set_aside").prefetch_related(
        Prefetch("findings", queryset=flagged, to_attr="flags"),
        Prefetch("booking__members", queryset=Member.objects.select_related("user")),
    )


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
