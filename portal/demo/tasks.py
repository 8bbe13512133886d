from celery import shared_task

from portal.bookings.models import Song
from portal.demo import going_on, jobs
from portal.demo.further_on import Way


@shared_task
def send_stems(song_id: int, slug: str) -> None:
    """Safe to run twice: what has arrived is not sent again."""
    jobs.send_stems(Song.objects.get(pk=song_id), slug)


@shared_task
def go_on(song_id: int, slug: str, target: str) -> None:
    """Safe to run twice, and to be killed: where the song stands says what comes next."""
    going_on.go_on(Way(song_id, slug, target))


@shared_task
def sweep() -> None:
    going_on.queue_all()
