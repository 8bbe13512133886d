"""Links to one released set for people without an account: made, listed, withdrawn, and found again by their word.

The word in a link is the row's key with a signature of this house (`django.core.signing`): it can be shown again, it is
stored nowhere, and nobody makes one for another set.
"""

from __future__ import annotations

from datetime import timedelta

from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from portal.bookings import services as bookings
from portal.delivery.errors import LinkGoneError, LinkUnknownError, SetClosedError
from portal.delivery.models import Delivery, DeliveryFile, ShareLink
from portal.people.models import User

# House choices.
DAYS = (1, 7, 30)
USUAL_DAYS = 7
MOST_OPEN_LINKS = 20
# What the key of a file follows, in a link to one file.
FILE_MARK = "-"


@transaction.atomic
def make_link(*, delivery: Delivery, made_for: str, days: int, by: User) -> ShareLink:
    delivery = Delivery.objects.select_for_update(of=("self",)).select_related("song__booking").get(pk=delivery.pk)
    if delivery.state not in Delivery.SEEN_BY_CLIENT:
        raise SetClosedError(f"Delivery {delivery.number} is not released yet, so there is nothing to share.")
    now = timezone.now()
    if delivery.share_links.filter(withdrawn_at=None, expires_at__gt=now).count() >= MOST_OPEN_LINKS:
        raise SetClosedError(f"{MOST_OPEN_LINKS} links to this delivery are open. Withdraw one first.")
    link = ShareLink.objects.create(
        delivery=delivery, made_for=made_for, made_by=by, expires_at=now + timedelta(days=days)
    )
    text = f"made a link to delivery {delivery.number} for {made_for}, open for {days} day{'s' * (days > 1)}"
    bookings.record(delivery.song.booking, text, actor=by, song=delivery.song)
    return link


@transaction.atomic
def withdraw_link(*, link: ShareLink, by: User) -> None:
    """Nothing more is begun by it; a download that is running is not cut off. Pressed twice it is withdrawn once."""
    link = ShareLink.objects.select_for_update(of=("self",)).select_related("delivery__song__booking").get(pk=link.pk)
    if link.withdrawn_at is not None:
        return
    link.withdraw(by=by)
    delivery = link.delivery
    text = f"withdrew the link to delivery {delivery.number} for {link.made_for}"
    bookings.record(delivery.song.booking, text, actor=by, song=delivery.song)


def page_of(link: ShareLink) -> str:
    return reverse("delivery:shared", args=[_signer().sign(str(link.pk))])


def zip_address(link: ShareLink) -> str:
    return reverse("delivery:shared-zip", args=[_signer().sign(str(link.pk))])


def file_address(link: ShareLink, file: DeliveryFile) -> str:
    return reverse("delivery:shared-file", args=[_signer().sign(f"{link.pk}{FILE_MARK}{file.pk}")])


def find_link(token: str) -> ShareLink:
    """The open link of this word. One that has run out or was withdrawn is gone, and says so."""
    return _opened(_unsigned(token))


def find_file(token: str) -> tuple[ShareLink, DeliveryFile]:
    key, mark, file_key = _unsigned(token).partition(FILE_MARK)
    link = _opened(key)
    file = link.delivery.files.current().filter(pk=int(file_key)).first() if mark else None
    if file is None:
        raise LinkUnknownError("This link leads nowhere. Ask for a new one.")
    return link, file


def _unsigned(token: str) -> str:
    try:
        return _signer().unsign(token)
    except BadSignature as error:
        raise LinkUnknownError("This link leads nowhere. Check that it is whole, or ask for a new one.") from error


def _opened(key: str) -> ShareLink:
    link = ShareLink.objects.select_related("delivery__song__booking__created_by").filter(pk=int(key)).first()
    if link is None:
        raise LinkUnknownError("This link leads nowhere. Ask for a new one.")
    if not link.is_open:
        why = "was withdrawn" if link.withdrawn_at else "has expired"
        raise LinkGoneError(f"This link {why}. Ask whoever sent it for a new one.")
    return link


def _signer() -> Signer:
    return Signer(salt="kitpost.delivery.link", sep=".")
