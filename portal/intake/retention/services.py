"""What both sides can do about the originals of a booking that is over: ask to keep them, extend, let them go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from portal.bookings.models import Booking
from portal.bookings.services import record
from portal.intake.errors import KeepingError
from portal.intake.models import Keeping
from portal.intake.retention.kept_originals import amount_words, day_words, kept_until, originals_of
from portal.mailroom import services as mailroom
from portal.people.models import House, User

NOT_OVER = "Files are only removed after the booking is over."
NOTHING_LEFT = "The files of this booking have already been removed."


@dataclass(frozen=True)
class KeepingShown:
    """What the booking's page says. `until` is None where the house keeps originals for good."""

    booking: Booking
    amount: str
    until: datetime | None
    keeping: Keeping | None
    extends_by_days: int

    @property
    def can_ask(self) -> bool:
        return self.keeping is not None and self.keeping.noticed_at is not None and not self.keeping.is_asked_for


def shown(booking: Booking) -> KeepingShown | None:
    """Nothing as long as the booking is not over, and nothing where nothing was ever sent."""
    keeping = Keeping.objects.filter(booking=booking).select_related("asked_by").first()
    has_some = bool(booking.is_over and originals_of(booking))
    if not has_some and (keeping is None or keeping.removed_at is None):
        return None
    house = House.get()
    return KeepingShown(
        booking=booking,
        amount=amount_words(booking),
        until=kept_until(booking, keeping, house) if house.keep_originals_days else None,
        keeping=keeping,
        extends_by_days=house.keep_originals_days,
    )


@transaction.atomic
def ask_to_keep(*, booking: Booking, by: User) -> None:
    """From now on nothing is removed until the drummer has decided. Pressed twice, it is one question."""
    booking, keeping = lock(booking)
    if keeping is None or keeping.noticed_at is None:
        raise KeepingError("You don’t have to do anything yet: you will get an e-mail before any file is removed.")
    if keeping.is_asked_for:
        return
    keeping.ask_to_keep(by)
    record(booking, "asked to keep the source files", actor=by)
    mailroom.write_to_drummers(
        key=f"originals:{booking.pk}:{keeping.notices}:asked",
        subject=f"{by.name} asks you to keep the files of “{booking.title}”",
        body=(
            f"{by.name} asks you to keep the files of “{booking.title}” ({amount_words(booking)}). "
            "Nothing is removed until you decide on the booking’s page."
        ),
        path=f"{booking.get_absolute_url()}#originals",
    )


@transaction.atomic
def extend(*, booking: Booking, by: User) -> Keeping:
    """Keep them for the house's period once more."""
    booking, keeping = lock(booking)
    house = House.get()
    was_noticed = keeping is not None and keeping.noticed_at is not None
    until = max(timezone.now(), kept_until(booking, keeping, house)) + timedelta(days=house.keep_originals_days)
    keeping, _ = Keeping.objects.get_or_create(booking=booking, defaults={"until": until})
    keeping.set_until(until)
    day = day_words(until, house)
    record(booking, f"extended the retention of the source files until {day}", actor=by)
    if was_noticed:
        mailroom.write_to_members(
            booking=booking,
            by=by,
            key=f"originals:{booking.pk}:{keeping.notices}:extended",
            subject=f"“{booking.title}”: the files are kept until {day}",
            body=(
                f"The source files of “{booking.title}” are kept until {day}. You will get another e-mail "
                "before they are removed."
            ),
            path=f"{booking.get_absolute_url()}#originals",
        )
    return keeping


@transaction.atomic
def let_go(*, booking: Booking, by: User) -> None:
    """The client asked, and the drummer does not keep them: it begins with a new notice."""
    booking, keeping = lock(booking)
    if keeping is None or not keeping.is_asked_for:
        return
    keeping.set_until(timezone.now())
    record(booking, "decided not to keep the source files; both sides are notified before they are removed", actor=by)


def lock(booking: Booking) -> tuple[Booking, Keeping | None]:
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    keeping = Keeping.objects.select_for_update().filter(booking=booking).first()
    if not booking.is_over:
        raise KeepingError(NOT_OVER)
    if not originals_of(booking):
        raise KeepingError(NOTHING_LEFT)
    return booking, keeping
