"""What a person does to have a song prepared, and what an approved tempo map starts."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.people.models import User
from portal.prep.errors import CLICK_STAYS, OVER, PrepError
from portal.prep.models import PreparedFile, SessionPack, SongPrep
from portal.prep.pack_inputs import inputs_of
from portal.prep.room import check_room
from portal.prep.stored import clear_unnamed
from portal.queueing import queue_task_on_commit


def prepare(approved_map_id: int) -> None:
    """Have the files made once the approval is safe. A queue that is down undoes nothing: the sweep finds the map."""
    queue_task_on_commit("portal.prep.tasks.make_files", approved_map_id)


def mark_sections(song_id: int) -> None:
    """Have the tempo-map file of the map in use made anew, with the sections of the song's chart."""
    approved = ApprovedMap.objects.filter(song=song_id).first()
    if approved is not None:
        queue_task_on_commit("portal.prep.tasks.make_tempo_map", approved.pk)


def ask_pack(*, song: Song, by: User) -> SessionPack:
    """Have a session pack made of the song as it stands. Pressed twice it is made once.

    Raises PrepError with a sentence where that cannot be.
    """
    if song.booking.is_over:
        raise PrepError(OVER)
    inputs = inputs_of(song)
    there = {"song": song, "fingerprint": inputs.fingerprint}
    open_states = [SessionPack.State.MAKING, SessionPack.State.MADE]
    if pack := SessionPack.objects.filter(**there, state__in=open_states).first():
        return pack
    size_bytes = inputs.size_bytes(inputs.estimated_frames)
    check_room(size_bytes, largest_bytes=size_bytes // len(inputs.sources))
    try:
        with transaction.atomic():
            pack = SessionPack.objects.create(
                **there,
                approved_map=inputs.approved,
                settings=inputs.settings.to_json(),
                sources=inputs.source_list,
                files_total=len(inputs.sources),
                asked_by=by,
            )
            # A queue that is down undoes nothing: the sweep finds the pack.
            queue_task_on_commit("portal.prep.tasks.make_pack", pack.pk)
    except IntegrityError:  # pressed twice at the same moment
        return SessionPack.objects.get(**there, state__in=open_states)
    return pack


def check_click_changes(song: Song) -> None:
    """Raises PrepError with a sentence where its click stays as it is."""
    if song.booking.is_over:
        raise PrepError(CLICK_STAYS)


@transaction.atomic
def choose(*, choices: SongPrep) -> None:
    """Keep what one song has otherwise than the house, and make its click anew. Raises PrepError."""
    check_click_changes(choices.song)
    choices.save()
    approved = choices.song.maps.first()
    if approved is not None:
        make_click_anew(approved)


@transaction.atomic
def make_click_anew(approved: ApprovedMap) -> None:
    """The files made with other choices go, so that none of them is taken for the new one. Raises PrepError."""
    check_click_changes(approved.song)
    files = PreparedFile.objects.filter(approved_map=approved)
    keys = list(files.values_list("key", flat=True))
    files.delete()
    transaction.on_commit(lambda: clear_unnamed(keys), robust=True)
    prepare(approved.pk)
