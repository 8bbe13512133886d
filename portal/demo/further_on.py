"""Which songs of a demo are to stand further on than the desk, and where."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import NamedTuple

from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.demo.people import CLIENT, OTHER_CLIENT, Invented

# Long enough for a slow machine. After it the house belongs to its people alone: nothing moves unless they move it.
GOES_ON_FOR = timedelta(minutes=30)


@dataclass(frozen=True)
class FurtherOn:
    """A booking by its title, and the stage that its one song is to reach."""

    title: str
    slug: str
    target: SongStage
    client: Invented


class Way(NamedTuple):
    """`slug` names the song as the band knows it."""

    song_id: int
    slug: str
    target: str


FURTHER_ON = (
    FurtherOn("Corner Table Single", "paper-plate", SongStage.READY, OTHER_CLIENT),
    FurtherOn("Back Door Single", "grey-folder", SongStage.IN_REVIEW, CLIENT),
    FurtherOn("Spare Room Single", "empty-jar", SongStage.DELIVERED, CLIENT),
    FurtherOn("Short Film About Counters", "loose-button", SongStage.ACCEPTED, CLIENT),
)


def ways() -> Iterator[Way]:
    since = timezone.now() - GOES_ON_FOR
    by_title = {further.title: further for further in FURTHER_ON}
    young = Song.objects.filter(booking__title__in=by_title, booking__created_at__gt=since).order_by("pk")
    for song_id, title in young.values_list("pk", "booking__title"):
        yield Way(song_id, by_title[title].slug, by_title[title].target.value)
