"""What intake knows of a song that decides whose turn it is, read from its rows and written down on the song."""

from __future__ import annotations

from portal.bookings.models import Booking, Song
from portal.bookings.services import note_song
from portal.bookings.turns import SongNotes
from portal.intake import hooks
from portal.intake.checks import questions
from portal.intake.models import Finding


def note_facts(song: Song) -> None:
    """After anything that intake changed about a song: whatever it was, the turn is right afterwards."""
    note_song(song, **facts_of(song))


def facts_of(song: Song) -> SongNotes:
    return {
        "has_files": song.sources.current().exists() or song.zips.waiting().exists(),
        "question_open": questions.is_unanswered(song),
        "file_promised": questions.is_file_promised(song),
        "draft_held": questions.is_held(song),
        "map_approved": not (map_reasons(song) or objections(song)),
        "stop_open": song.findings.open().filter(severity=Finding.Severity.STOP).exists(),
    }


def objections(song: Song) -> list[str]:
    return [reason for more in hooks.more_reasons_against for reason in more([song]).values()]


def map_reasons(song: Song) -> list[str]:
    newest, check_id = song.maps.first(), song.checks.done().values_list("pk", flat=True).first()
    if newest is None:
        return ["No tempo map with bar one is approved."]
    if check_id is not None and newest.check_seen_id != check_id:
        return ["Files or brief changed after the tempo map was approved: check the map and approve it again."]
    return []


def deposit_reasons(booking: Booking) -> list[str]:
    return ["The deposit has not been received."] if booking.deposit_is_missing else []
