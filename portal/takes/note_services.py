"""What people do with notes at bars: leave, answer, mark as done, take back."""

from __future__ import annotations

from uuid import UUID

from django.db import transaction

from analysis.maps import TempoMap
from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.people.models import User
from portal.takes.errors import NoteError
from portal.takes.models import BarNote, NoteAnswer, RoughMix
from portal.takes.stages import STAGES_OF_MIXES

# House choices: more than a song has bars is a mistake or a flood.
MOST_NOTES = 500
MOST_ANSWERS = 50


@transaction.atomic
def leave_note(
    *,
    rough_mix: RoughMix,
    map_version: int,
    first_bar: int,
    last_bar: int,
    text: str,
    by: User,
    key: UUID | None = None,
) -> BarNote:
    """Write a note at bars counted by the map that the page showed. The same key again is the same note."""
    song = _locked_song(rough_mix.song)
    if key and (known := BarNote.objects.filter(song=song, key=key).first()):
        return known
    approved = song.maps.filter(version=map_version).first()
    if approved is None:
        raise NoteError("There is no approved tempo map yet, so bars cannot be named. Write a message instead.")
    _check_bars(rough_mix, approved, last_bar)
    if song.bar_notes.count() >= MOST_NOTES:
        raise NoteError(f"This song has {MOST_NOTES} notes. Mark them as done and write a message instead.")
    return BarNote.objects.create(
        song=song,
        rough_mix=rough_mix,
        approved_map=approved,
        written_by=by,
        first_bar=first_bar,
        last_bar=last_bar,
        text=text,
        key=key,
    )


def _check_bars(rough_mix: RoughMix, approved: ApprovedMap, last_bar: int) -> None:
    tempo_map = TempoMap.from_json(approved.map)
    begins_s, length_s = rough_mix.begins_at_s, (rough_mix.report or {}).get("duration_s")
    if float(tempo_map.time_of_bar(last_bar + 1)) <= begins_s:
        raise NoteError(f"Rough mix {rough_mix.number} begins after bar {last_bar}.")
    if length_s is not None and last_bar > (end := _last_bar_before(tempo_map, begins_s + length_s)):
        raise NoteError(f"Rough mix {rough_mix.number} ends in bar {end}: bar {last_bar} is not in it.")


def _last_bar_before(tempo_map: TempoMap, time_s: float) -> int:
    bar = tempo_map.bar_beat_at(time_s).bar
    return bar - 1 if float(tempo_map.time_of_bar(bar)) >= time_s else bar


@transaction.atomic
def answer_note(*, note: BarNote, text: str, by: User) -> None:
    """Say something to a note. The same words again by the same person, as the last answer, are one answer."""
    _locked_song(note.song)
    last = note.answers.last()
    if last is not None and (last.written_by_id, last.text) == (by.pk, text):
        return
    if note.answers.count() >= MOST_ANSWERS:
        raise NoteError("This note has very many answers. Write a message instead.")
    NoteAnswer.objects.create(note=note, written_by=by, text=text)


@transaction.atomic
def mark_note(*, note: BarNote, is_done: bool, by: User) -> None:
    """Either side marks a note as done, or opens it again."""
    _locked_song(note.song)
    note = BarNote.objects.select_for_update().get(pk=note.pk)
    if note.is_done != is_done:
        note.mark(is_done=is_done, by=by)


@transaction.atomic
def take_back_note(*, note: BarNote, by: User) -> None:
    """Remove a note of one's own, as long as nobody was asked for it and nobody answered."""
    _locked_song(note.song)
    note = BarNote.objects.select_for_update().get(pk=note.pk)
    if note.written_by_id != by.pk or note.asked_with_id or note.answers.exists():
        raise NoteError("This note was asked for or answered: mark it as done instead.")
    note.delete()


def _locked_song(song: Song) -> Song:
    song = Song.objects.select_for_update().get(pk=song.pk)
    if song.stage not in STAGES_OF_MIXES or song.booking.is_over:
        raise NoteError(f"“{song.title}” is {song.get_stage_display()}: notes are taken while rough mixes are sent.")
    return song
