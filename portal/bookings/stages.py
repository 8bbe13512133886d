"""The course of a booking and of a song, in order, and whose turn each stage is. The one place that says so."""

from django.db import models


class Turn(models.TextChoices):
    DRUMMER = "drummer", "the drummer"
    CLIENT = "client", "the client"
    HOUSE = "house", "our checks"
    NOBODY = "nobody", "nobody"


class BookingStage(models.TextChoices):
    ENQUIRY = "enquiry", "enquiry"
    QUOTED = "quoted", "quoted"
    AGREED = "agreed", "agreed"
    WORKING = "working", "working"
    DELIVERED = "delivered", "delivered"
    CLOSED = "closed", "closed"
    DECLINED = "declined", "declined"
    CANCELLED = "cancelled", "cancelled"


class SongStage(models.TextChoices):
    WAITING = "waiting", "waiting for files"
    CHECKING = "checking", "checking"
    WITH_CLIENT = "with-client", "with the client"
    ON_DESK = "on-desk", "on the desk"
    READY = "ready", "ready to track"
    TRACKING = "tracking", "tracking"
    IN_REVIEW = "in-review", "out for review"
    DELIVERED = "delivered", "delivered"
    ACCEPTED = "accepted", "accepted"


BOOKING_COURSE = (
    BookingStage.ENQUIRY,
    BookingStage.QUOTED,
    BookingStage.AGREED,
    BookingStage.WORKING,
    BookingStage.DELIVERED,
    BookingStage.CLOSED,
)
OVER_STAGES = (BookingStage.CLOSED, BookingStage.DECLINED, BookingStage.CANCELLED)


def song_course(now: str) -> tuple[SongStage, ...]:
    """A song is with the client or on the desk, in this order or the other: the course shows one of the two."""
    left_out = SongStage.ON_DESK if now == SongStage.WITH_CLIENT else SongStage.WITH_CLIENT
    return tuple(stage for stage in SongStage if stage != left_out)


BOOKING_TURN = {
    BookingStage.ENQUIRY: Turn.DRUMMER,
    BookingStage.QUOTED: Turn.CLIENT,
    BookingStage.AGREED: Turn.CLIENT,
    BookingStage.DELIVERED: Turn.CLIENT,
    BookingStage.CLOSED: Turn.NOBODY,
    BookingStage.DECLINED: Turn.NOBODY,
    BookingStage.CANCELLED: Turn.NOBODY,
}
SONG_TURN = {
    SongStage.WAITING: Turn.CLIENT,
    SongStage.CHECKING: Turn.HOUSE,
    SongStage.WITH_CLIENT: Turn.CLIENT,
    SongStage.ON_DESK: Turn.DRUMMER,
    SongStage.READY: Turn.DRUMMER,
    SongStage.TRACKING: Turn.DRUMMER,
    SongStage.IN_REVIEW: Turn.CLIENT,
    SongStage.DELIVERED: Turn.CLIENT,
    SongStage.ACCEPTED: Turn.NOBODY,
}
# While the work goes on, the booking waits for whoever comes first here among the people its songs wait for.
WORKING_TURN_ORDER = (Turn.DRUMMER, Turn.CLIENT, Turn.HOUSE)

INTAKE_STAGES = (SongStage.WAITING, SongStage.CHECKING, SongStage.WITH_CLIENT, SongStage.ON_DESK, SongStage.READY)
