"""How a song of a demo gets from the desk to where it is to stand: what drummer and client would press, one by one.

Nothing is remembered between two moves: the rows say which comes next, so a killed process goes on where it was.
"""

import fcntl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import NamedTuple

from django.conf import settings

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.delivery import services as delivery
from portal.delivery.models import Delivery
from portal.demo.further_on import Way, ways
from portal.demo.jobs import client_of, send
from portal.intake.checks import services as intake
from portal.job_folders import job_folder
from portal.money import payments
from portal.money import services as money
from portal.money.models import Payment, Quote
from portal.queueing import queue_task
from portal.takes import services as takes
from portal.takes.models import RoughMix

COURSE = tuple(SongStage)
# A song that is to stand in review has had one round of changes.
MIXES_IN_REVIEW = 2
MIX_NOTES = ("First pass. The fill before the chorus is a placeholder.", "With the shorter fill.")
CHANGE_WORDS = "Lovely feel. Could the fill before the chorus be shorter, please? The voice comes in early there."
DELIVERY_NOTE = "Four microphones from bar one, at the rate and depth of your files."


class Task(NamedTuple):
    """`slug` names the song as the band knows it; `target` is the stage that it is to reach."""

    song: Song
    slug: str
    target: str


def queue_all() -> None:
    """Queue whatever is not where it is to stand."""
    for way in ways():
        if not is_there(song_of(way), way.target):
            queue_task("portal.demo.tasks.go_on", *way)


def go_on(way: Way) -> None:
    """Make every move that can be made now. Two at once would send everything twice: the second leaves it all."""
    with locked(way.song_id) as is_mine:
        while is_mine and moves(way):
            pass


def moves(way: Way) -> bool:
    """Make the next move. False: there is none now."""
    song = song_of(way)
    move = None if is_there(song, way.target) else MOVES.get(song.stage)
    return move is not None and move(Task(song, way.slug, way.target))


@contextmanager
def locked(song_id: int) -> Iterator[bool]:
    """Whether the song is this process's to move. A killed one lets go by itself."""
    with (settings.DATA_DIR / f"demo-song-{song_id}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True


def song_of(way: Way) -> Song:
    return Song.objects.select_related("booking__created_by").get(pk=way.song_id)


def is_there(song: Song, target: str) -> bool:
    """Has it been where it is to stand? What people do with it afterwards is theirs."""
    if song.booking.is_over or COURSE.index(SongStage(song.stage)) > COURSE.index(SongStage(target)):
        return True
    if target == SongStage.IN_REVIEW:
        return song.rough_mixes.filter(number__gte=MIXES_IN_REVIEW, state__in=RoughMix.HEARD).exists()
    return song.stage == target


def leave_desk(task: Task) -> bool:
    song, drummer = task.song, task.song.booking.created_by
    if song.map_approved:
        intake.mark_ready(song=song, by=drummer)
    else:
        intake.approve(song=song, by=drummer)
    return True


def start_tracking(task: Task) -> bool:
    takes.start_tracking(song=task.song, by=task.song.booking.created_by)
    return True


def send_mix(task: Task) -> bool:
    """A mix is uploaded, measured by the house, and sent."""
    song, newest = task.song, task.song.rough_mixes.first()
    drummer = song.booking.created_by
    if newest is None or newest.state == RoughMix.State.CHANGE_ASKED:
        upload_mix(song, task.slug, number=newest.number + 1 if newest else 1)
        return True
    if newest.state != RoughMix.State.READY:
        return False
    takes.send_rough_mix(rough_mix=newest, note=MIX_NOTES[min(newest.number, len(MIX_NOTES)) - 1], by=drummer)
    return True


def hear_mix(task: Task) -> bool:
    if task.song.mix_accepted:
        return deliver(task)
    newest = task.song.rough_mixes.filter(state=RoughMix.State.OUT).first()
    if newest is None:
        return False
    client = client_of(task.song)
    if task.target == SongStage.IN_REVIEW:
        takes.ask_for_change(rough_mix=newest, words=CHANGE_WORDS, by=client)
    else:
        takes.accept_rough_mix(rough_mix=newest, by=client)
    return True


def deliver(task: Task) -> bool:
    """The tracks are uploaded, checked by the house, and released."""
    song, drummer = task.song, task.song.booking.created_by
    opened = delivery.open_delivery(song=song, by=drummer)
    if opened.state == Delivery.State.CHECKING or opened.failures:
        return False
    if opened.state == Delivery.State.CHECKED:
        delivery.release(delivery=opened, note=DELIVERY_NOTE, by=drummer)
    else:
        upload_tracks(opened, task.slug)
        delivery.ask_check(delivery=opened)
    return True


def accept(task: Task) -> bool:
    """The balance comes in, and the client has what they need."""
    booking = task.song.booking
    if booking.files_wait_for_balance:
        agreed = booking.quotes.get(state=Quote.State.ACCEPTED)
        payments.record_payment(
            booking=booking,
            kind=Payment.Kind.BALANCE,
            amount=Decimal(agreed.balance_minor) / 100,
            received_on=money.house_today(),
            by=booking.created_by,
            note="by transfer",
        )
    else:
        delivery.accept(delivery=task.song.deliveries.all()[0], by=client_of(task.song))
    return True


MOVES: dict[str, Callable[[Task], bool]] = {
    SongStage.ON_DESK: leave_desk,
    SongStage.READY: start_tracking,
    SongStage.TRACKING: send_mix,
    SongStage.IN_REVIEW: hear_mix,
    SongStage.DELIVERED: accept,
}


def upload_mix(song: Song, slug: str, *, number: int) -> None:
    from analysis.band import SHORT_SONG_BY_SLUG, render_take

    with job_folder() as folder:
        take = render_take(SHORT_SONG_BY_SLUG[slug], Path(folder), number=number)
        send(take.rough_mix, purpose="rough-mix", target_id=song.pk, by=song.booking.created_by)


def upload_tracks(opened: Delivery, slug: str) -> None:
    from analysis.band import SHORT_SONG_BY_SLUG, render_take

    arrived = set(opened.files.values_list("name", flat=True))
    number = opened.song.rough_mixes.count()
    with job_folder() as folder:
        for path in render_take(SHORT_SONG_BY_SLUG[slug], Path(folder), number=number).tracks:
            if path.name not in arrived:
                send(path, purpose="track", target_id=opened.pk, by=opened.song.booking.created_by)
