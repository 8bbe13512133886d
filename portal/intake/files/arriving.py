"""Are a song's files all there? The last one starts the song's check."""

from __future__ import annotations

from portal.bookings.models import Song
from portal.intake.models import SourceFile
from portal.queueing import queue_task_on_commit


def is_arriving(song: Song) -> bool:
    """A file waits for its survey, or a zip to be unpacked: the song is measured when all are there."""
    unsurveyed = song.sources.current().filter(status=SourceFile.Status.RECEIVED)
    return unsurveyed.exists() or song.zips.waiting().exists()


def start_check(song_id: int) -> None:
    queue_task_on_commit("portal.intake.tasks.measure_song", song_id)
