"""Originals of bookings that are over: kept as long as the house sets, then removed, always after an e-mail.

Beat runs this; every step may run twice, and two at once. What was measured, what was said and what was delivered
stays in any case.
"""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet, Sum
from django.template.defaultfilters import date as date_words
from django.utils import timezone

from portal.bookings.models import Booking
from portal.bookings.services import record
from portal.bookings.stages import OVER_STAGES
from portal.intake.files import store_cleanup
from portal.intake.files.file_versions import size_words
from portal.intake.models import Keeping, SentZip, SourceFile
from portal.intake.zips.contents import files_words
from portal.mailroom import services as mailroom
from portal.people.models import House
from portal.people.time_zones import zone_in_words
from portal.uploads.errors import UploadBusyError

# For so long after a removal the store is looked through again: a killed worker leaves content that nothing names.
LOOKED_THROUGH_FOR = timedelta(days=7)
DATE = "j F Y"

logger = logging.getLogger(__name__)


def keep_house() -> None:
    house = House.get()
    if house.keep_originals_days:
        for booking_id in with_originals().values_list("pk", flat=True):
            give_notice(booking_id)
            remove_originals(booking_id)
    for keeping in Keeping.objects.filter(removed_at__gte=timezone.now() - LOOKED_THROUGH_FOR):
        clear_store(keeping.booking_id)


def with_originals() -> QuerySet[Booking]:
    """Bookings that are over and have something in the store."""
    sources = SourceFile.objects.filter(song__booking=OuterRef("pk"), gone_at=None)
    zips = SentZip.objects.filter(song__booking=OuterRef("pk"), gone_at=None)
    return Booking.objects.filter(Exists(sources) | Exists(zips), stage__in=OVER_STAGES)


def kept_until(booking: Booking, keeping: Keeping | None, house: House) -> datetime:
    """A booking that is over is nobody's turn: it has been over since then."""
    return keeping.until if keeping else booking.turn_since + timedelta(days=house.keep_originals_days)


@transaction.atomic
def give_notice(booking_id: int) -> None:
    """Tell both sides, as many days before as the house says, whenever this comes to run."""
    booking = Booking.objects.select_for_update().select_related("created_by").get(pk=booking_id)
    house, keeping = House.get(), Keeping.objects.filter(booking=booking).first()
    until = kept_until(booking, keeping, house)
    ahead = timezone.now() + timedelta(days=house.notice_days)
    if until > ahead or (keeping is not None and (keeping.noticed_at is not None or keeping.removed_at is not None)):
        return
    keeping = keeping or Keeping(booking=booking, until=until)
    keeping.until = ahead
    keeping.save()
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


def originals_of(booking: Booking) -> list[SourceFile | SentZip]:
    return [
        *SourceFile.objects.filter(song__booking=booking, gone_at=None),
        *SentZip.objects.filter(song__booking=booking, gone_at=None),
    ]


def amount_words(booking: Booking) -> str:
    """What came in a zip is counted once, as files."""
    sources = SourceFile.objects.filter(song__booking=booking, gone_at=None)
    total = sources.aggregate(bytes=Sum("size_bytes"))["bytes"] or 0
    return f"{files_words(sources.count())}, {size_words(total)}"


def day_words(moment: datetime, house: House) -> str:
    day = date_words(moment.astimezone(ZoneInfo(house.time_zone)), DATE)
    return f"{day} ({zone_in_words(house.time_zone)})"
