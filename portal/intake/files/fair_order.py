"""Whose file is worked on next: the bookings take turns, however much one of them has sent."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from django.db.models import Max, QuerySet

NEVER = datetime.min.replace(tzinfo=UTC)


def next_of(waiting: QuerySet[Any], *, began: str, tries: str) -> int | None:
    """The key of the row that is due: of the booking whose last turn is longest ago, what came first. What was tried in
    vain waits behind what was not.

    `began` and `tries` name the columns that say when work on a row last began, and how often.
    """
    bookings = list(waiting.order_by().values_list("song__booking", flat=True).distinct())
    every = waiting.model._default_manager.filter(song__booking__in=bookings)
    served = dict(every.order_by().values_list("song__booking").annotate(last=Max(began)))
    for booking in sorted(bookings, key=lambda booking: (served.get(booking) or NEVER, booking)):
        of_booking = waiting.filter(song__booking=booking).order_by(tries, "pk")
        key: int | None = of_booking.values_list("pk", flat=True).first()
        if key is not None:  # else another worker took the last of this booking a moment ago: the next is due
            return key
    return None
