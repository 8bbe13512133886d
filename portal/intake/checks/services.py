"""What people do at intake: decide, and let a song go on to tracking. What they do with files: song_files."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Q

from analysis.findings import KIND_BY_CODE
from analysis.maps import TempoMap
from portal.bookings.models import Song
from portal.bookings.services import move_song, record
from portal.bookings.stages import SongStage
from portal.intake import hooks
from portal.intake.checks import apply_check, questions
from portal.intake.checks.offers import MAP_CODES
from portal.intake.checks.page_version import Seen
from portal.intake.checks.song_facts import deposit_reasons, facts_of, map_reasons, note_facts, objections
from portal.intake.errors import BookingOverError, GateError, NoMapError
from portal.intake.maps import song_maps
from portal.intake.models import ApprovedMap, Finding
from portal.mailroom.models import Question
from portal.people.models import User


@transaction.atomic
def waive(*, finding: Finding, by: User, reason: str) -> None:
    """The drummer decides that it does not matter; the decision and its reason stay with the finding."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=finding.song_id)
    if song.booking.is_over:
        raise BookingOverError
    finding = Finding.objects.select_for_update().get(pk=finding.pk)
    if finding.state != Finding.State.OPEN:
        return
    finding.end(Finding.State.WAIVED, by=by, reason=reason)
    title = KIND_BY_CODE[finding.code].title.lower()
    record(song.booking, f"waived “{title}”: {reason}", actor=by, song=song)
    apply_check.settle_and_place(song, text="the question is resolved")
    note_facts(song)


@transaction.atomic
def approve(*, song: Song, by: User, seen: Seen | None = None) -> ApprovedMap:
    """Approve tempo and bar one as measured. Pressed twice, it is one version.

    `seen`: what the page showed on which it was pressed, here and below; None: nobody looked at a page. Where that is
    not what holds now, MapChangedError is raised: nothing is approved unseen, nor put over what another approved.
    """
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    check = song.checks.done().first()
    if check is None:
        raise NoMapError("Nothing has been measured yet.")
    found = song_maps.measured_map(check.numbers)
    return keep_map(song, found, origin=ApprovedMap.Origin.MEASURED, by=by, seen=seen)


@transaction.atomic
def overrule(
    *, song: Song, by: User, bpm: Decimal, meter: str, bar_one_s: Decimal, note: str = "", seen: Seen | None = None
) -> ApprovedMap:
    """Set tempo, meter and bar one by hand. What was measured stays beside it."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    found = song_maps.map_by_hand(bpm=bpm, meter=meter, bar_one_s=bar_one_s)
    return keep_map(song, found, origin=ApprovedMap.Origin.OVERRULED, by=by, note=note, seen=seen)


@transaction.atomic
def approve_map(
    *,
    song: Song,
    by: User,
    found: TempoMap,
    note: str = "",
    count_in_bars: int | None = None,
    seen: Seen | None = None,
) -> ApprovedMap:
    """Approve a map made by hand, anchor by anchor."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    origin = ApprovedMap.Origin.OVERRULED
    return keep_map(song, found.to_json(), origin=origin, by=by, note=note, count_in_bars=count_in_bars, seen=seen)


def keep_map(
    song: Song,
    found: dict[str, Any],
    *,
    origin: ApprovedMap.Origin,
    by: User,
    note: str = "",
    count_in_bars: int | None = None,
    seen: Seen | None = None,
) -> ApprovedMap:
    """A new version, unless it is the newest again and nobody objects to that. A count-in that was set by hand holds
    until another is."""
    if song.booking.is_over:
        raise BookingOverError
    check = song.checks.done().first()
    newest = song.maps.first()
    if seen is not None:
        seen.hold_check(check)
    if count_in_bars is None and newest:
        count_in_bars = newest.count_in_bars
    new = (found, origin, check, count_in_bars)
    is_again = newest and (newest.map, newest.origin, newest.check_seen, newest.count_in_bars) == new
    if newest and is_again and not objections(song):
        return newest
    if seen is not None:
        seen.hold_map(newest)
    kept = ApprovedMap.objects.create(
        song=song,
        version=(song.maps.aggregate(last=Max("version"))["last"] or 0) + 1,
        origin=origin,
        map=found,
        count_in_bars=count_in_bars,
        check_seen=check,
        approved_by=by,
        note=note,
    )
    _settle_by_map(kept, song=song, by=by)
    _tell_of_map(kept, song=song, by=by)
    return kept


def _settle_by_map(kept: ApprovedMap, *, song: Song, by: User) -> None:
    """What asks for a click or a tempo is answered by a map, unless the client was asked already: they may have one."""
    unasked = Q(question=None) | Q(question__state=Question.State.HELD)
    settled = song.findings.open().filter(unasked, code__in=MAP_CODES)
    for finding in settled:
        finding.end(Finding.State.WAIVED, by=by, reason=f"the tempo map is approved (version {kept.version})")
    if settled:
        apply_check.settle_and_place(song, text="the tempo map is approved")


def _tell_of_map(kept: ApprovedMap, *, song: Song, by: User) -> None:
    is_measured = kept.origin == ApprovedMap.Origin.MEASURED
    words = "approved the tempo map as measured" if is_measured else "set the tempo map by hand"
    record(song.booking, f"{words} (version {kept.version})", actor=by, song=song)
    note_facts(song)
    for call in hooks.on_map_approved:
        call(kept.pk)


@transaction.atomic
def mark_ready(*, song: Song, by: User) -> None:
    """Let a song go on to tracking, or say every reason why it cannot."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    if song.stage == SongStage.READY:
        return
    reasons = reasons_against(song)
    if reasons:
        raise GateError(reasons)
    questions.close_all(song, reason=questions.WENT_ON)
    facts = facts_of(song)
    move_song(song, SongStage.READY, text="marked the song ready to track", actor=by, **facts)


def reasons_against(song: Song) -> list[str]:
    """What keeps a song from being tracked, in plain words; empty when nothing does."""
    reasons = []
    if song.booking.is_over:
        reasons.append(f"The booking is {song.booking.get_stage_display()}.")
    if song.stage not in (SongStage.ON_DESK, SongStage.WITH_CLIENT):
        reasons.append(f"The song is {song.get_stage_display()}.")
    stops = song.findings.open().filter(severity=Finding.Severity.STOP).with_source()
    reasons += [f"Blocked by: {named(finding)}." for finding in stops]
    reasons += map_reasons(song) + deposit_reasons(song.booking)
    return reasons + objections(song)


def named(finding: Finding) -> str:
    title = KIND_BY_CODE[finding.code].title.lower()
    return f"{title} in “{finding.source.name}”" if finding.source else title
