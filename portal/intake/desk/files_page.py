"""A song's files as both sides see them: received, being measured, measured, or of no use and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from analysis.core import Place, place_words
from analysis.findings import KIND_BY_CODE
from portal.bookings.models import Song
from portal.bookings.stages import INTAKE_STAGES, SongStage
from portal.intake.checks import questions
from portal.intake.desk.waiting_words import waiting_sentences
from portal.intake.errors import SongClosedError
from portal.intake.files import services as song_files
from portal.intake.files.waiting import ArrivalFacts, arrival_facts, waiting_to_check
from portal.intake.models import Finding, SentZip, SongCheck, SourceFile
from portal.mailroom.models import Question
from portal.people.models import User


@dataclass(frozen=True)
class FindingShown:
    finding: Finding
    title: str
    sentence: str
    todo: str
    place: str
    file: str
    settled: str = ""

    @property
    def answer(self) -> str:
        """What the client answered about it, once that counts."""
        question = self.finding.question
        return question.answer_in_words if question and question.state == Question.State.SENT else ""

    @property
    def is_asked(self) -> bool:
        return self.finding.question is not None and self.finding.question.is_waiting

    @property
    def severity(self) -> str:
        return self.finding.severity


@dataclass(frozen=True)
class FilesPage:
    """What the refreshing part shows. `is_checking` keeps it refreshing."""

    song: Song
    sources: tuple[SourceFile, ...]
    findings: tuple[FindingShown, ...]
    check: SongCheck | None
    is_checking: bool
    takes_files: bool
    is_intake: bool
    zips: tuple[SentZip, ...]
    taken_out: tuple[SourceFile, ...]
    waiting: tuple[str, ...]
    may_say_all_sent: bool


def files_page(song: Song, user: User) -> FilesPage:
    everything = list(song.sources.prefetch_related(Prefetch("findings_resolved", Finding.objects.resolved())))
    sources = tuple(source for source in everything if source.removed_at is None)
    mark_copies(sources)
    mark_settled(sources)
    zips = tuple(song.zips.all())
    facts = arrival_facts(song)
    is_over = song.booking.is_over
    awaited = waiting_to_check(facts) if has_unchecked(song, facts) and not is_over else ()
    return FilesPage(
        song=song,
        sources=sources,
        findings=() if user.is_drummer else tuple(for_client(song)),
        check=song.checks.done().first(),
        is_checking=bool(awaited) or (bool(sources) and song.stage == SongStage.CHECKING and not is_over),
        takes_files=takes_files(song),
        is_intake=song.stage in INTAKE_STAGES,
        zips=zips,
        taken_out=tuple(taken_out(everything)),
        waiting=tuple(waiting_sentences(awaited, user)),
        may_say_all_sent=bool(awaited) and bool(facts.quiet_s) and not facts.is_all_sent,
    )


def has_unchecked(song: Song, facts: ArrivalFacts) -> bool:
    """Whether a check is still to come of what is here or on its way: what was checked waits for nothing."""
    return song.stage == SongStage.CHECKING or bool(facts.unsurveyed or facts.packed or facts.under_way or facts.queues)


def taken_out(sources: Sequence[SourceFile]) -> list[SourceFile]:
    """Files that somebody removed and that can be restored: of each, the version that counted last."""
    counting = {source.line for source in sources if source.removed_at is None}
    return [
        source
        for source in sources
        if source.left_as == SourceFile.Left.REMOVED and source.line not in counting and source.gone_at is None
    ]


def mark_settled(sources: Sequence[SourceFile]) -> None:
    """Say beside a new bounce what it mended."""
    for source in sources:
        titles = [KIND_BY_CODE[finding.code].title for finding in source.findings_resolved.all()]
        source.settles = ", ".join(dict.fromkeys(titles))


def mark_copies(sources: Sequence[SourceFile]) -> None:
    """Who sent the same bytes twice sees it beside the file; both are kept until they take one out."""
    first: dict[str, str] = {}
    for source in sources:
        source.copy_of = first.get(source.sha256, "")
        first.setdefault(source.sha256, source.name)


def takes_files(song: Song) -> bool:
    try:
        song_files.check_takes_files(song)
    except SongClosedError:
        return False
    return True


def for_client(song: Song) -> list[FindingShown]:
    """What is asked of the client, in their words, while it is their turn. What the house keeps to itself stays out."""
    if song.stage != SongStage.WITH_CLIENT or song.booking.is_over:
        return []
    found = song.findings.open().exclude(severity=Finding.Severity.NOTE).select_related("source", "question")
    return [
        shown_to_client(finding)
        for finding in questions.gravest_first(found)
        if finding.question is not None and finding.question.asked_at is not None
    ]


def shown_to_client(finding: Finding) -> FindingShown:
    kind = KIND_BY_CODE[finding.code]
    return FindingShown(
        finding=finding,
        title=kind.title,
        sentence=questions.in_client_words(finding),
        todo="",
        place="",
        file=finding.source.name if finding.source else "",
    )


def place_of(place: Place) -> str:
    return "" if place.time_s is None and place.bar is None else place_words(place)
