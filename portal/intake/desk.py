"""The drummer's queue: every song on its way to being ready, what stops it first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch

from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Member, Song
from portal.bookings.stages import INTAKE_STAGES, OVER_STAGES, SongStage, Turn
from portal.intake.models import Finding
from portal.people.models import User

RANK_BY_SEVERITY = {Finding.Severity.STOP: 0, Finding.Severity.ASK: 1}
NOTHING_STOPS = 2
MOST_WORDS = 3
STAGE_WORDS = {
    SongStage.WAITING: "Waiting for files",
    SongStage.CHECKING: "Being measured",
    SongStage.WITH_CLIENT: "A question is with the client",
    SongStage.ON_DESK: "Nothing found: approve the tempo and bar one",
    SongStage.READY: "Ready to track",
}
# Within one rank, what a drummer can act on comes first.
TURN_ORDER = {Turn.DRUMMER: 0, Turn.CLIENT: 1, Turn.HOUSE: 2, Turn.NOBODY: 3}


@dataclass(frozen=True)
class DeskRow:
    song: Song
    severity: str
    titles: Sequence[str]
    more: int
    clients: str

    @property
    def is_yours(self) -> bool:
        return self.song.turn == Turn.DRUMMER

    @property
    def is_measured(self) -> bool:
        return self.song.stage in (SongStage.ON_DESK, SongStage.READY)

    @property
    def is_being_measured(self) -> bool:
        return self.song.stage == SongStage.CHECKING

    @property
    def words(self) -> str:
        if not self.titles:
            return STAGE_WORDS[SongStage(self.song.stage)]
        return ", ".join(self.titles) + (f" and {self.more} more" if self.more else "")

    @property
    def order(self) -> tuple[int, int, date, float]:
        rank = {"stop": 0, "ask": 1}.get(self.severity, NOTHING_STOPS)
        due_on = self.song.booking.due_on or date.max
        return rank, TURN_ORDER[Turn(self.song.turn)], due_on, self.song.turn_since.timestamp()


def queue(user: User) -> list[DeskRow]:
    """A constant number of queries, whatever the number of songs."""
    flagged = Finding.objects.open().exclude(severity=Finding.Severity.NOTE)
    songs = (
        Song.objects.visible_to(user)
        .filter(stage__in=INTAKE_STAGES)
        .exclude(booking__stage__in=OVER_STAGES)
        .select_related("booking")
        .prefetch_related(
            Prefetch("findings", queryset=flagged, to_attr="flags"),
            Prefetch("booking__members", queryset=Member.objects.select_related("user")),
        )
    )
    return sorted((row_of(song) for song in songs), key=lambda row: row.order)


def row_of(song: Song) -> DeskRow:
    flags: list[Finding] = song.flags  # type: ignore[attr-defined]  # prefetched by `queue`
    flags = sorted(flags, key=lambda finding: (RANK_BY_SEVERITY[Finding.Severity(finding.severity)], finding.pk))
    titles = list(dict.fromkeys(KIND_BY_CODE[finding.code].title for finding in flags))
    return DeskRow(
        song=song,
        severity=flags[0].severity if flags else "",
        titles=titles[:MOST_WORDS],
        more=max(0, len(titles) - MOST_WORDS),
        clients=", ".join(member.user.name for member in song.booking.members.all()),
    )
