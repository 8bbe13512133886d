"""What a song's check waits for. No check speaks of a song before all of it is there: `waiting_to_check` says what is
still to come, from facts alone, and every way to a check asks it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from django.db.models import F, Q, QuerySet
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.models import FileCourse, SourceFile
from portal.people.models import House
from portal.queueing import queue_task_on_commit
from portal.uploads.models import PARTIAL, Upload

# An upload that brought nothing for so long was left by its sender; one under way is noted every second.
UPLOAD_LEFT_AFTER = timedelta(minutes=2)
# The quiet time has passed for certain when its task begins.
JUST_AFTER_S = 1
MEASURED, UNPACKED, SENT, QUEUED, QUIET = "measured", "unpacked", "sent", "queued", "quiet"


@dataclass(frozen=True)
class Queue:
    """Files that one person's browsers have announced."""

    user_id: int
    name: str
    files: int


@dataclass(frozen=True)
class ArrivalFacts:
    """`unsurveyed` files and `packed` zips are here; `under_way` uploads are being sent or joined; `queues` wait in
    browsers. `still_s` is how long no file came or left, None if none ever did; `quiet_s` is how long that has to be,
    unless somebody said that all are sent."""

    unsurveyed: int = 0
    packed: int = 0
    under_way: int = 0
    queues: tuple[Queue, ...] = ()
    still_s: float | None = None
    quiet_s: int = 0
    is_all_sent: bool = False


@dataclass(frozen=True)
class Awaited:
    """One thing that a check waits for: `count` files or zips, or seconds of quiet; `queue` where it is a browser's."""

    code: str
    count: int
    queue: Queue | None = None


def waiting_to_check(facts: ArrivalFacts) -> tuple[Awaited, ...]:
    """What is still awaited; empty when the check is due."""
    return tuple(_awaited(facts))


def _awaited(facts: ArrivalFacts) -> Iterator[Awaited]:
    yield from (Awaited(QUEUED, queue.files, queue) for queue in facts.queues if queue.files)
    for code, count in ((SENT, facts.under_way), (UNPACKED, facts.packed), (MEASURED, facts.unsurveyed)):
        if count:
            yield Awaited(code, count)
    if not facts.is_all_sent and facts.still_s is not None and facts.still_s < facts.quiet_s:
        yield Awaited(QUIET, math.ceil(facts.quiet_s - max(0.0, facts.still_s)))


def arrival_facts(song: Song) -> ArrivalFacts:
    course = FileCourse.objects.filter(song=song).first()
    changed_at = course.last_change_at if course else None
    return ArrivalFacts(
        unsurveyed=song.sources.current().filter(status=SourceFile.Status.RECEIVED).count(),
        packed=song.zips.waiting().count(),
        under_way=_under_way(song),
        queues=_queues(song),
        still_s=(timezone.now() - changed_at).total_seconds() if changed_at else None,
        quiet_s=House.get().quiet_after_files_s,
        is_all_sent=course is not None and course.all_sent_at is not None,
    )


def awaited_of(song: Song) -> tuple[Awaited, ...]:
    return waiting_to_check(arrival_facts(song))


def _queues(song: Song) -> tuple[Queue, ...]:
    files: dict[tuple[int, str], int] = {}
    for row in song.announcements.living().select_related("by"):
        files[row.by_id, row.by.name] = files.get((row.by_id, row.by.name), 0) + row.files
    return tuple(Queue(user_id, name, count) for (user_id, name), count in files.items())


def _under_way(song: Song) -> int:
    """Parts that come side by side are one file, and say less of it than the one that joins them."""
    coming = list(uploads_under_way(song).values_list("concat", flat=True))
    whole = [concat for concat in coming if concat != PARTIAL]
    return len(whole) or min(1, len(coming))


def uploads_under_way(song: Song) -> QuerySet[Upload]:
    """Open uploads for the song, or for a new version of one of its files, that went on lately or are all here."""
    meant = Q(purpose="source", target_id=song.pk) | Q(purpose="bounce", target_id__in=song.sources.values("pk"))
    is_whole = ~Q(concat=PARTIAL) & (Q(offset_bytes=F("length_bytes")) | ~Q(parts=[]))
    is_moving = Q(touched_at__gt=timezone.now() - UPLOAD_LEFT_AFTER)
    return Upload.objects.filter(meant, is_whole | is_moving, state=Upload.State.OPEN)


def start_check(song: Song) -> None:
    """Start the song's check when it is due: now, or after the quiet time. Whatever else it waits for leads here again
    when it is over, and what does not (a browser that is gone) the sweep finds."""
    awaited = awaited_of(song)
    if not awaited:
        queue_task_on_commit("portal.intake.tasks.measure_song", song.pk)
    elif [one.code for one in awaited] == [QUIET]:
        after_s = awaited[0].count + JUST_AFTER_S
        queue_task_on_commit("portal.intake.tasks.measure_song", song.pk, after_s=after_s)


def note_change(song: Song) -> None:
    """A file came or left: the quiet time begins anew. Under the song's row lock."""
    FileCourse.of(song).change(timezone.now())
