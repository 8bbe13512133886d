"""What people and their browsers say of files that are still to come."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.services import record
from portal.bookings.stages import SongStage
from portal.intake.errors import BookingOverError
from portal.intake.files.waiting import Awaited, awaited_of, start_check
from portal.intake.models import Announcement, FileCourse
from portal.people.models import User

# A page repeats its word every 20 seconds, in a tab at the back as seldom as every minute.
ANNOUNCEMENT_LASTS = timedelta(seconds=90)
MOST_TABS = 20


@transaction.atomic
def announce(*, song: Song, by: User, tab: str, files: int) -> None:
    """A tab has so many files still to send. None: it is done, and the check is due as soon as nothing else is
    awaited."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    row = Announcement.objects.filter(song=song, by=by, tab=tab).first()
    if not files:
        if row is not None:
            row.delete()
            check_if_new(song)
        return
    if row is None or files > row.files:  # dropped just now: what was said to be all is more
        FileCourse.of(song).begin_anew()
    expires_at = timezone.now() + ANNOUNCEMENT_LASTS
    Announcement.objects.update_or_create(
        song=song, by=by, tab=tab, defaults={"files": files, "expires_at": expires_at}
    )
    _forget_all_but_newest(by)


def _forget_all_but_newest(by: User) -> None:
    newest = Announcement.objects.filter(by=by).order_by("-expires_at", "-pk").values_list("pk", flat=True)[:MOST_TABS]
    Announcement.objects.filter(by=by).exclude(pk__in=list(newest)).delete()


@transaction.atomic
def say_all_sent(*, song: Song, by: User) -> tuple[Awaited, ...]:
    """Nobody need wait for more files. Says what is awaited even so: files that are under way, or being measured.

    Raises BookingOverError.
    """
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    if song.booking.is_over:
        raise BookingOverError
    course = FileCourse.of(song)
    if course.say_all_sent(by):
        record(song.booking, "said that all files are sent", actor=by, song=song)
    check_if_new(song)
    return awaited_of(song)


def check_if_new(song: Song) -> None:
    """What was checked already is not checked again only because a tab was closed."""
    newest = song.checks.done().first()
    came_since = song.sources.current().filter(received_at__gt=newest.made_at) if newest and newest.made_at else None
    if song.stage == SongStage.CHECKING or (came_since is not None and came_since.exists()):
        start_check(song)


def forget_expired() -> None:
    """Tabs that are gone: what they had to send is awaited no more. Safe to run twice, and to be killed."""
    for song_id in Announcement.objects.expired().values_list("song", flat=True).distinct():
        _forget_expired_of(song_id)


@transaction.atomic
def _forget_expired_of(song_id: int) -> None:
    song = Song.objects.select_for_update().select_related("booking").get(pk=song_id)
    Announcement.objects.expired().filter(song=song).delete()
    check_if_new(song)
