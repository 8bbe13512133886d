"""The course of a booking, of its quote and of a song, in order. Whose turn it is in each: turns.py."""

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


class QuoteState(models.TextChoices):
    """Of a booking: the newest quote that matters. One that was replaced, declined or ran out matters no more."""

    NONE = "none", "no quote"
    DRAFT = "draft", "draft"
    SENT = "sent", "sent"
    ACCEPTED = "accepted", "accepted"


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
    # Not part of the work any more; it can be put back to where it was.
    TAKEN_OUT = "taken-out", "taken out"


BOOKING_COURSE = (
    BookingStage.ENQUIRY,
    BookingStage.QUOTED,
    BookingStage.AGREED,
    BookingStage.WORKING,
    BookingStage.DELIVERED,
    BookingStage.CLOSED,
)
OVER_STAGES = (BookingStage.CLOSED, BookingStage.DECLINED, BookingStage.CANCELLED)


# Shown of a song in review whose mix is accepted: its files are still to come.
IN_DELIVERY = "in delivery"


def song_course(now: str, *, for_client: bool, mix_accepted: bool = False) -> tuple[tuple[str, str], ...]:
    """A song is with the client or on the desk, in this order or the other: the course shows one of the two."""
    left_out = SongStage.ON_DESK if now == SongStage.WITH_CLIENT else SongStage.WITH_CLIENT
    course = (stage for stage in SongStage if stage not in (left_out, SongStage.TAKEN_OUT))
    return tuple(
        (stage.value, stage_in_words(stage, for_client=for_client, mix_accepted=mix_accepted)) for stage in course
    )


def stage_in_words(stage: str, *, for_client: bool, mix_accepted: bool = False) -> str:
    """For a client "the client" is "you"."""
    if mix_accepted and stage == SongStage.IN_REVIEW:
        return IN_DELIVERY
    return "with you" if for_client and stage == SongStage.WITH_CLIENT else str(SongStage(stage).label)


INTAKE_STAGES = (SongStage.WAITING, SongStage.CHECKING, SongStage.WITH_CLIENT, SongStage.ON_DESK, SongStage.READY)
