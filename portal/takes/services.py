"""From tracking to the client's word on a rough mix."""

from __future__ import annotations

from django.db import transaction

from portal.bookings import services as bookings
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import asks
from portal.bookings.turns import SongNotes
from portal.listening import services as listening
from portal.mailroom import services as mailroom
from portal.people.models import User
from portal.queueing import queue_task_on_commit
from portal.takes.errors import NotDecidableError, NotReadyError
from portal.takes.models import RoughMix
from portal.uploads.models import Upload

UNDECIDED: SongNotes = {"mix_accepted": False, "change_requested": False}
STAGES_OF_MIXES = (SongStage.TRACKING, SongStage.IN_REVIEW)


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
    rough_mix = RoughMix.objects.create(
        song=song,
        number=newest.number + 1 if newest else 1,
        sent_by=upload.owner,
        name=upload.file_name,
        sha256=upload.sha256,
        key=upload.key,
        size_bytes=upload.length_bytes,
    )
    bookings.record(song.booking, f"uploaded rough mix {rough_mix.number}", actor=upload.owner, song=song)
    # A queue that is down undoes nothing: the sweep finds the mix.
    queue_task_on_commit("portal.takes.tasks.survey_rough_mix", rough_mix.pk)
    return rough_mix


@transaction.atomic
def send_rough_mix(*, rough_mix: RoughMix, note: str, by: User) -> None:
    """Let the client hear it, with a word to go with it. Sent twice it goes once."""
    rough_mix = RoughMix.objects.select_for_update().select_related("song__booking").get(pk=rough_mix.pk)
    song = rough_mix.song
    if rough_mix.state in RoughMix.HEARD:
        return
    if rough_mix.state != RoughMix.State.READY or song.stage not in STAGES_OF_MIXES or song.booking.is_over:
        raise NotReadyError(f"Rough mix {rough_mix.number} cannot be sent: it is {rough_mix.get_state_display()}.")
    rough_mix.go_out(note=note)
    text = f"sent rough mix {rough_mix.number}"
    if song.stage == SongStage.IN_REVIEW:
        bookings.note_song(song, text=text, actor=by, **UNDECIDED)
    else:
        bookings.move_song(song, SongStage.IN_REVIEW, text=text, actor=by, **UNDECIDED)
    song.refresh_from_db()
    says = f"{by.name} has sent rough mix {rough_mix.number} of “{song.title}”. {asks(song)}"
    mailroom.post(
        booking=song.booking,
        song=song,
        key=f"rough-mix:{rough_mix.pk}:out",
        subject=f"Rough mix {rough_mix.number} of “{song.title}”",
        body=f"{note}\n\n{says}" if note else says,
        sender=by,
    )


@transaction.atomic
def accept_rough_mix(*, rough_mix: RoughMix, by: User) -> None:
    """The take is the one: the drummer's turn to deliver it. Pressed twice it is accepted once."""
    rough_mix = _locked(rough_mix)
    if rough_mix.state == RoughMix.State.ACCEPTED:
        return
    _check_decidable(rough_mix)
    rough_mix.decide(RoughMix.State.ACCEPTED, by=by, note="")
    song = rough_mix.song
    bookings.note_song(song, text=f"accepted rough mix {rough_mix.number}", actor=by, mix_accepted=True)
    song.refresh_from_db()
    mailroom.write_to_drummers(
        key=f"rough-mix:{rough_mix.pk}:accepted",
        subject=f"{by.name} accepts rough mix {rough_mix.number} of “{song.title}”",
        body=f"{by.name} accepts rough mix {rough_mix.number} of “{song.title}”. {asks(song)}",
        path=song.get_absolute_url(),
    )


@transaction.atomic
def ask_for_change(*, rough_mix: RoughMix, words: str, by: User) -> None:
    """Back to the kit, with the client's words."""
    rough_mix = _locked(rough_mix)
    if rough_mix.state == RoughMix.State.CHANGE_ASKED:
        return
    _check_decidable(rough_mix)
    rough_mix.decide(RoughMix.State.CHANGE_ASKED, by=by, note=words)
    song = rough_mix.song
    text = f"asked for a change to rough mix {rough_mix.number}"
    bookings.move_song(song, SongStage.TRACKING, text=text, actor=by, mix_accepted=False, change_requested=True)
    mailroom.post(
        booking=song.booking,
        song=song,
        key=f"rough-mix:{rough_mix.pk}:change",
        subject=f"A change to rough mix {rough_mix.number} of “{song.title}”",
        body=f"{by.name} asks for a change to rough mix {rough_mix.number}:\n\n{words}",
        sender=by,
    )


def _locked(rough_mix: RoughMix) -> RoughMix:
    Song.objects.select_for_update().get(pk=rough_mix.song_id)  # sending a newer one and deciding take turns
    return RoughMix.objects.select_for_update().select_related("song__booking").get(pk=rough_mix.pk)


def _check_decidable(rough_mix: RoughMix) -> None:
    if not rough_mix.can_be_decided:
        raise NotDecidableError(f"Rough mix {rough_mix.number} was already decided, or there is a newer one.")
