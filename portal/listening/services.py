"""Asking the client with a listening check, and what their answer changes."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction

from analysis.maps import TempoMap
from portal.bookings.models import FASTEST_BPM, SLOWEST_BPM, Song, SongQuerySet
from portal.bookings.services import note_song, save_brief
from portal.bookings.stages import SongStage
from portal.intake.checks.offers import carried_bpm
from portal.intake.checks.song_facts import note_facts
from portal.intake.maps.song_maps import map_of_song
from portal.intake.models import ApprovedMap
from portal.listening import jobs
from portal.listening.errors import ListeningError
from portal.listening.models import Excerpt
from portal.mailroom import services as mailroom
from portal.people.models import User
from portal.queueing import queue_task_on_commit

Answer = Excerpt.Answer
TIMES_TEMPO = {Answer.RIGHT: Decimal(1), Answer.TWICE: Decimal(2), Answer.HALF: Decimal("0.5")}


@transaction.atomic
def ask(*, song: Song, first_bar: int, note: str, by: User) -> Excerpt:
    """Send eight bars with the click of the song's map. Asked twice the same, it is one question."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    tempo_map = check_can_ask(song, first_bar)
    map_json = tempo_map.to_json()
    for waiting in song.excerpts.filter(state__in=(Excerpt.State.MAKING, Excerpt.State.OUT)):
        if (waiting.map, waiting.first_bar, waiting.note) == (map_json, first_bar, note):
            return waiting
        take_back(waiting, song, by)  # one question at a time: the newer one counts
    excerpt = Excerpt.objects.create(song=song, asked_by=by, map=map_json, first_bar=first_bar, note=note)
    # A queue that is down undoes nothing: the sweep finds the excerpt.
    queue_task_on_commit("portal.listening.tasks.make_excerpt", excerpt.pk)
    return excerpt


def take_back(excerpt: Excerpt, song: Song, by: User) -> None:
    """Until the newer one is out, the client has nothing to answer: the turn comes back with the question."""
    was_out = excerpt.state == Excerpt.State.OUT
    excerpt.withdraw()
    if was_out:
        text = "replaced the listening check with a new one"
        note_song(song, text=text, actor=by, listening_open=False)


@transaction.atomic
def close(song: Song) -> None:
    """The drummer goes on without the answer, or the booking is over: no listening check is open any more."""
    Song.objects.select_for_update().get(pk=song.pk)
    for excerpt in song.excerpts.select_for_update().filter(state__in=(Excerpt.State.MAKING, Excerpt.State.OUT)):
        excerpt.withdraw()
    note_song(song, listening_open=False)


def close_cancelled(booking_id: int, by_id: int, reason: str) -> None:  # noqa: ARG001
    """What `bookings.hooks.on_booking_cancelled` calls."""
    for song in Song.objects.filter(booking=booking_id).order_by("pk"):
        close(song)


def check_can_ask(song: Song, first_bar: int) -> TempoMap:
    if song.booking.is_over or song.stage not in (SongStage.ON_DESK, SongStage.READY):
        raise ListeningError("A listening check is possible only while the song is on the desk.")
    if not song.booking.members.exists():
        raise ListeningError("No client has access to this booking yet: invite the client first.")
    tempo_map = map_of_song(song)
    sources = jobs.sources_to_hear(song)
    if tempo_map is None:
        raise ListeningError("There is no tempo map to ask about yet: approve one, or set one by hand.")
    if not sources:
        raise ListeningError("There is no music to listen to: every file here is a click.")
    lengths_s = [source.numbers.duration_s or 0.0 for source in sources if source.numbers]
    if tempo_map.time_of_bar(first_bar) >= max(lengths_s, default=0.0):
        raise ListeningError(f"The song ends before bar {first_bar}.")
    if tempo_map.is_free_bar(first_bar):
        raise ListeningError(f"Bar {first_bar} is free: it has no click to ask about.")
    return tempo_map


@transaction.atomic
def answer(*, excerpt: Excerpt, answer: str, words: str = "", taps_s: Sequence[float] = (), by: User) -> None:
    """Take the client's answer. What it says about the tempo goes into the brief, where it is weighed as evidence."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=excerpt.song_id)
    excerpt = Excerpt.objects.select_for_update().select_related("asked_by").get(pk=excerpt.pk)
    excerpt.song = song
    if not excerpt.waits_for_answer:
        raise ListeningError("This question no longer needs an answer.")
    excerpt.take_answer(answer, words=words, taps_s=list(taps_s), by=by)
    said = Answer(answer).label
    note_song(song, text=f"answered the listening check: {said}", actor=by, listening_open=False)
    note_facts(song)  # any answer but yes is an objection to the map
    if song.stage == SongStage.ON_DESK and (changes := brief_changes(excerpt)):
        save_brief(song=song, by=by, **changes)
    mailroom.write_to_drummers(
        key=f"excerpt:{excerpt.pk}:answered",
        subject=f"{by.name} about “{song.title}”: {said}",
        body="\n\n".join(part for part in (f"{by.name} listened to {excerpt}: {said}.", words) if part),
        path=song.get_absolute_url(),
    )


def reasons_against(songs: Sequence[Song] | SongQuerySet) -> dict[int, str]:
    """A client's last answer to a listening check, if it is not yes, blocks until a map is approved after it."""
    answered = Excerpt.objects.filter(song__in=songs, state=Excerpt.State.ANSWERED).order_by("answered_at")
    last = {excerpt.song_id: excerpt for excerpt in answered}
    maps = ApprovedMap.objects.filter(song__in=last).order_by("approved_at")
    approved_at = {approved.song_id: approved.approved_at for approved in maps.only("song", "approved_at")}
    settled = {key for key, at in approved_at.items() if (said_at := last[key].answered_at) and at > said_at}
    return {
        song_id: (
            f"The client’s answer to the listening check: {Answer(excerpt.answer).label}. Approve the map "
            "again, changed or as it is."
        )
        for song_id, excerpt in last.items()
        if excerpt.answer != Answer.RIGHT and song_id not in settled
    }


def brief_changes(excerpt: Excerpt) -> dict[str, Any]:
    """One tempo throughout is one figure in the brief; a map with several is confirmed as a whole, on the sheet. So is
    a tempo that the brief does not take: a map may be slower or faster."""
    segments = [one for one in TempoMap.from_json(excerpt.map).segments if not one.free]
    times = TIMES_TEMPO.get(Answer(excerpt.answer))
    if times is None or len({segment.bpm for segment in segments}) > 1:
        return {}
    bpm = Decimal(carried_bpm(float(segments[0].bpm))) * times
    return {"bpm": bpm} if SLOWEST_BPM <= bpm <= FASTEST_BPM else {}
