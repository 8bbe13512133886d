"""From tracking to the client's word on a rough mix."""

from __future__ import annotations

from django.db import transaction

from portal.bookings import services as bookings
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import asks
from portal.bookings.turns import SongNotes
from portal.intake.files.receivers import said_of
from portal.listening import services as listening
from portal.mailroom import services as mailroom
from portal.people.models import User
from portal.queueing import queue_task_on_commit
from portal.takes.about import About, about_said, begins_at_s
from portal.takes.errors import FurtherRoundError, NotDecidableError, NotReadyError
from portal.takes.models import BarNote, RoughMix
from portal.takes.models.notes import BarNoteQuerySet
from portal.takes.note_bars import in_bars
from portal.takes.rounds import Rounds, rounds_of
from portal.takes.stages import STAGES_OF_MIXES
from portal.uploads.models import Upload

UNDECIDED: SongNotes = {"mix_accepted": False, "change_requested": False}


@transaction.atomic
def start_tracking(*, song: Song, by: User) -> None:
    """Take the song to the kit. Pressed twice it starts once."""
    song = Song.objects.select_for_update().get(pk=song.pk)
    if song.stage == SongStage.TRACKING:
        return
    if song.stage != SongStage.READY or song.booking.is_over:
        raise NotReadyError(f"“{song.title}” is {song.get_stage_display()}: mark it ready to track first.")
    listening.close(song)
    bookings.move_song(song, SongStage.TRACKING, text="started tracking", actor=by, **UNDECIDED)


@transaction.atomic
def receive_rough_mix(*, upload: Upload) -> RoughMix:
    song = Song.objects.select_for_update().get(pk=upload.target_id)
    newest = song.rough_mixes.first()
    about = about_said(song, {name: said_of(upload, name) for name in ("take", "holds", "begins")})
    rough_mix = RoughMix.objects.create(
        song=song,
        take=about.take,
        holds=about.holds,
        begins=about.begins,
        begins_at_s=begins_at_s(song, about.begins),
        number=newest.number + 1 if newest else 1,
        sent_by=upload.owner,
        name=upload.file_name,
        sha256=upload.sha256,
        key=upload.key,
        size_bytes=upload.length_bytes,
    )
    # A queue that is down undoes nothing: the sweep finds the mix.
    queue_task_on_commit("portal.takes.tasks.survey_rough_mix", rough_mix.pk)
    return rough_mix


@transaction.atomic
def send_rough_mix(*, rough_mix: RoughMix, note: str, by: User, about: About | None = None) -> None:
    """Let the client hear it, with a word to go with it. Sent twice it goes once. `about` mends what was said."""
    rough_mix = _locked(rough_mix)
    song = rough_mix.song
    if rough_mix.state in RoughMix.HEARD:
        return
    if rough_mix.state != RoughMix.State.READY or song.stage not in STAGES_OF_MIXES or song.booking.is_over:
        raise NotReadyError(f"Rough mix {rough_mix.number} cannot be sent: it is {rough_mix.get_state_display()}.")
    if song.rough_mixes.filter(number__gt=rough_mix.number, state__in=RoughMix.HEARD).exists():
        raise NotReadyError(
            f"A newer mix than rough mix {rough_mix.number} was sent: upload this one again to send it."
        )
    if about:
        describe(rough_mix, about)
    rough_mix.go_out(note=note)
    text = f"sent {rough_mix.in_words}"
    if song.stage == SongStage.IN_REVIEW:
        bookings.note_song(song, text=text, actor=by, **UNDECIDED)
    else:
        bookings.move_song(song, SongStage.IN_REVIEW, text=text, actor=by, **UNDECIDED)
    song.refresh_from_db()
    says = f"{by.name} has sent rough mix {rough_mix.number} of “{song.title}”{_of_take(rough_mix)}. {asks(song)}"
    mailroom.post(
        booking=song.booking,
        song=song,
        key=f"rough-mix:{rough_mix.pk}:out",
        subject=f"Rough mix {rough_mix.number} of “{song.title}”",
        body=f"{note}\n\n{says}" if note else says,
        sender=by,
    )


def describe(rough_mix: RoughMix, about: About) -> None:
    """Where it begins is worked out anew only when that is said anew: a later session pack moves nothing. What was
    found by its sound stays."""
    stays = rough_mix.is_placed_by_sound or about.begins == rough_mix.begins
    begins = rough_mix.begins_at_s if stays else begins_at_s(rough_mix.song, about.begins)
    rough_mix.describe(take=about.take, holds=about.holds, begins=about.begins, begins_at_s=begins)
    queue_task_on_commit("portal.takes.tasks.place_rough_mix", rough_mix.pk)


@transaction.atomic
def accept_rough_mix(*, rough_mix: RoughMix, by: User) -> None:
    """The take is the one, and its round ends: the drummer's turn to deliver it. Pressed twice it is accepted once."""
    rough_mix = _locked(rough_mix)
    if rough_mix.state == RoughMix.State.ACCEPTED:
        return
    _check_decidable(rough_mix)
    rough_mix.decide(RoughMix.State.ACCEPTED, by=by, note="")
    song = rough_mix.song
    bookings.note_song(song, text=f"accepted {rough_mix.in_words}", actor=by, mix_accepted=True)
    song.refresh_from_db()
    says = f"{by.name} accepts rough mix {rough_mix.number} of “{song.title}”"
    mailroom.write_to_drummers(
        key=f"rough-mix:{rough_mix.pk}:accepted",
        subject=says,
        body=f"{says}{_of_take(rough_mix)}. {asks(song)}".rstrip(),
        path=song.get_absolute_url(),
    )


@transaction.atomic
def ask_for_change(*, rough_mix: RoughMix, words: str, by: User, seen: str = "", is_further: bool = False) -> None:
    """Back to the kit, with the client's words and the notes they left at bars: one more round.

    `seen` is what their page showed of the rounds, where it showed them. A round beyond those of the quote is begun
    only with `is_further`.
    """
    rough_mix = _locked(rough_mix)
    if rough_mix.state == RoughMix.State.CHANGE_ASKED:
        return
    _check_decidable(rough_mix)
    song, rounds = rough_mix.song, rounds_of(rough_mix.song)
    _check_round(rounds, seen=seen, is_further=is_further)
    notes = list(waiting_notes(song))
    if not (words or notes):
        raise NotDecidableError("Describe what should change, or leave a note at a bar first.")
    rough_mix.decide(RoughMix.State.CHANGE_ASKED, by=by, note=words)
    rough_mix.begin_round(number=rounds.next, included=rounds.included)
    for note in notes:
        note.ask_with(rough_mix)
    what = "a further round of changes" if rounds.next_is_further else "a change"
    text = f"asked for {what} to {rough_mix.in_words}"
    bookings.move_song(song, SongStage.TRACKING, text=text, actor=by, mix_accepted=False, change_requested=True)
    mailroom.post(
        booking=song.booking,
        song=song,
        key=f"rough-mix:{rough_mix.pk}:change",
        subject=f"A change to rough mix {rough_mix.number} of “{song.title}”",
        body=_change_in_words(rough_mix, words, notes, rounds, by=by),
        sender=by,
    )


def waiting_notes(song: Song) -> BarNoteQuerySet:
    """What the clients noted at bars and have not asked for yet: it goes with their next request."""
    notes = BarNote.objects.open().filter(song=song, asked_with=None, written_by__role=User.Role.CLIENT)
    return notes.select_related("approved_map", "rough_mix__take").order_by("first_bar", "pk")


def _check_round(rounds: Rounds, *, seen: str, is_further: bool) -> None:
    if seen and seen != rounds.seen:
        raise FurtherRoundError(f"What the quote says has changed since this page was loaded. {rounds.count_in_words}")
    if rounds.next_is_further and not is_further:
        raise FurtherRoundError(f"{rounds.count_in_words} {rounds.further_in_words}")


def _change_in_words(rough_mix: RoughMix, words: str, notes: list[BarNote], rounds: Rounds, *, by: User) -> str:
    says = f"{by.name} asks for a change to rough mix {rough_mix.number}{_of_take(rough_mix)}:"
    lines = "\n".join(f"{_place_in_words(note, rough_mix)}: {note.text}" for note in notes)
    counted = f"{rounds.count_in_words} {rounds.further_in_words}".strip() if rounds.agreed else ""
    return "\n\n".join(part for part in (says, words, lines, counted) if part)


def _place_in_words(note: BarNote, asked: RoughMix) -> str:
    """A note on an earlier mix than the one that a change is asked for says so."""
    bars = in_bars(note, note.approved_map).capitalize()
    return bars if note.rough_mix_id == asked.pk else f"{bars} of {note.rough_mix.in_words}"


def _of_take(rough_mix: RoughMix) -> str:
    return f", take {rough_mix.take.number}" if rough_mix.take else ""


def _locked(rough_mix: RoughMix) -> RoughMix:
    Song.objects.select_for_update().get(pk=rough_mix.song_id)  # sending a newer one and deciding take turns
    return RoughMix.objects.select_for_update(of=("self",)).select_related("song__booking", "take").get(pk=rough_mix.pk)


def _check_decidable(rough_mix: RoughMix) -> None:
    if not rough_mix.can_be_decided:
        raise NotDecidableError(f"Rough mix {rough_mix.number} was already decided, or there is a newer one.")
