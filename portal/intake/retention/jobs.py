"""Originals of bookings that are over: kept as long as the house sets, then removed, always after an e-mail.

Beat runs this; every step may run twice, and two at once. What was measured, what was said and what was delivered
stays in any case.
"""

from __future__ import annotations

import logging
from datetime import timedelta

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils import timezone

from portal.bookings.models import Booking
from portal.bookings.services import record
from portal.bookings.stages import OVER_STAGES
from portal.intake.files import store_cleanup
from portal.intake.models import Keeping, SentZip, SourceFile
from portal.intake.retention.kept_originals import amount_words, day_words, kept_until, originals_of
from portal.mailroom import services as mailroom
from portal.people.models import House
from portal.queueing import for_each_row
from portal.uploads.errors import UploadBusyError

# For so long after a removal the store is looked through again: a killed worker leaves content that nothing names.
LOOKED_THROUGH_FOR = timedelta(days=7)

logger = logging.getLogger(__name__)


def keep_house() -> None:
    house = House.get()
    if house.keep_originals_days:
        for_each_row(with_originals().values_list("pk", flat=True), keep_or_remove, what="originals of booking")
    lately = Keeping.objects.filter(removed_at__gte=timezone.now() - LOOKED_THROUGH_FOR)
    for_each_row(lately.values_list("booking", flat=True), clear_store, what="store of booking")


def keep_or_remove(booking_id: int) -> None:
    give_notice(booking_id)
    remove_originals(booking_id)


def with_originals() -> QuerySet[Booking]:
    """Bookings that are over and have something in the store."""
    sources = SourceFile.objects.filter(song__booking=OuterRef("pk"), gone_at=None)
    zips = SentZip.objects.filter(song__booking=OuterRef("pk"), gone_at=None)
    return Booking.objects.filter(Exists(sources) | Exists(zips), stage__in=OVER_STAGES)


@transaction.atomic
def give_notice(booking_id: int) -> None:
    """Tell both sides, as many days before as the house says, whenever this comes to run."""
    booking = Booking.objects.select_for_update().select_related("created_by").get(pk=booking_id)
    house, keeping = House.get(), Keeping.objects.filter(booking=booking).first()
    until = kept_until(booking, keeping, house)
    ahead = timezone.now() + timedelta(days=house.notice_days)
    if until > ahead or (keeping is not None and (keeping.noticed_at is not None or keeping.removed_at is not None)):
        return
    keeping, _ = Keeping.objects.get_or_create(booking=booking, defaults={"until": until})
    keeping.notice(until=ahead)
    write_notices(booking, keeping, house)
    day = day_words(ahead, house)
    record(booking, f"announced that the source files are removed after {day}")


def write_notices(booking: Booking, keeping: Keeping, house: House) -> None:
    day = day_words(keeping.until, house)
    subject = f"“{booking.title}”: the files are kept until {day}"
    about = f"The source files of “{booking.title}” ({amount_words(booking)}) are kept until {day}. "
    stays = "Deliveries, measurements and messages stay."
    key, path = f"originals:{booking.pk}:{keeping.notices}", f"{booking.get_absolute_url()}#originals"
    mailroom.write_to_members(
        booking=booking,
        by=booking.created_by,
        key=key,
        subject=subject,
        body=(
            f"{about}Then they are removed. If you have no copy, download them before that date, or press "
            f"“Please keep them” on the booking’s page.\n\n{stays}"
        ),
        path=path,
    )
    mailroom.write_to_drummers(
        key=f"{key}:house",
        subject=subject,
        body=f"{about}Then they are removed, unless the client asks to keep them or you extend the time on the "
        f"booking’s page.\n\n{stays}",
        path=path,
    )


@transaction.atomic
def remove_originals(booking_id: int) -> None:
    """The time has passed, the e-mails went out, and nobody asked: now they go, and the timeline says so."""
    booking = Booking.objects.select_for_update().get(pk=booking_id)
    due = Keeping.objects.select_for_update().filter(
        booking=booking, removed_at=None, asked_at=None, until__lte=timezone.now()
    )
    keeping = due.exclude(noticed_at=None).first()
    if keeping is None:
        return
    amount = amount_words(booking)
    for original in originals_of(booking):
        original.be_gone()
    keeping.remove()
    record(booking, f"removed the source files: {amount}. Both sides had been notified")
    transaction.on_commit(lambda: clear_store(booking_id))


def clear_store(booking_id: int) -> None:
    """Remove the content of what is gone. What something else names as well stays."""
    gone = [
        *SourceFile.objects.filter(song__booking=booking_id).exclude(gone_at=None),
        *SentZip.objects.filter(song__booking=booking_id).exclude(gone_at=None),
    ]
    for key, sha256 in {(original.key, original.sha256) for original in gone}:
        if not default_storage.exists(key):
            continue
        try:
            store_cleanup.clear(key=key, sha256=sha256)
        except UploadBusyError:
            logger.info("store: %s is being stored anew", key)
