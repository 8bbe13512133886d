from celery import shared_task

from portal.bookings.models import Song
from portal.demo import jobs


@shared_task
def send_stems(song_id: int, slug: str) -> None:
    """Safe to run twice: what has arrived is not sent again."""
    jobs.send_stems(Song.objects.get(pk=song_id), slug)
