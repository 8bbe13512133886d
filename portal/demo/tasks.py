from celery import shared_task

from portal.bookings.models import Song
from portal.demo import going_on, jobs
from portal.queueing import queue_task

LOOK_EVERY_S = 3
# For twenty minutes; a slow machine measures all songs in less.
LOOKS = 400


@shared_task
def send_stems(song_id: int, slug: str) -> None:
    """Safe to run twice: what has arrived is not sent again."""
    jobs.send_stems(Song.objects.get(pk=song_id), slug)


@shared_task(acks_late=True)
def go_on(song_id: int, slug: str, target: str, looks_left: int = LOOKS) -> None:
    """Safe to run twice, and to be killed: where the song stands says what comes next."""
    if not going_on.go_on(song_id, slug, target) and looks_left > 0:
        queue_task("portal.demo.tasks.go_on", song_id, slug, target, looks_left - 1, after_s=LOOK_EVERY_S)
