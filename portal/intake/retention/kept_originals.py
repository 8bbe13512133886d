"""Which originals of a booking are still here, how long they are kept, and how both are said."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Sum
from django.template.defaultfilters import date as date_words

from portal.bookings.models import Booking
from portal.intake.files.file_versions import size_words
from portal.intake.models import Keeping, SentZip, SourceFile
from portal.intake.zips.contents import files_words
from portal.people.models import House
from portal.people.time_zones import zone_in_words

DATE = "j F Y"


def kept_until(booking: Booking, keeping: Keeping | None, house: House) -> datetime:
    """A booking that is over is nobody's turn: it has been over since then."""
    return keeping.until if keeping else booking.turn_since + timedelta(days=house.keep_originals_days)


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
