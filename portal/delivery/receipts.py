"""Counts what is sent of a set. Bytes count when the system took them for the connection, and several megabytes wait
there: what was sent whole has not arrived for certain. Stretches that were resumed are put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from django.conf import settings
from django.db import transaction

from portal.delivery.models import Delivery, DeliveryFile, Receipt, ShareLink
from portal.file_serving import ReadBytes
from portal.people.models import User


@dataclass(frozen=True)
class Taker:
    """Whoever takes something: a client who is signed in, or somebody with a link."""

    user: User | None = None
    link: ShareLink | None = None

    @property
    def is_counted(self) -> bool:
        """A drummer who looks at their own delivery takes nothing."""
        return self.link is not None or (self.user is not None and not self.user.is_drummer)


@dataclass(frozen=True)
class Content:
    """What is taken, in the state that its entity tag names."""

    what: Receipt.What
    etag: str
    length_bytes: int
    file: DeliveryFile | None = None


def counted(taker: Taker, delivery: Delivery, content: Content) -> Callable[[ReadBytes], ReadBytes]:
    """Wraps what reads the bytes of an answer: begins the receipt, and writes down what was sent when it ends."""

    def wrapped(read: ReadBytes) -> ReadBytes:
        if not taker.is_counted:
            return read

        def reading(start: int, stop: int) -> Iterator[bytes]:
            receipt = begin(taker, delivery, content)
            at = start
            try:
                for piece in read(start, stop):
                    yield piece
                    at += len(piece)  # only here: whoever asks for the next piece has sent this one
            finally:
                if at > start:
                    note_taken(receipt, start, at)

        return reading

    return wrapped


@transaction.atomic
def begin(taker: Taker, delivery: Delivery, content: Content, *, is_counted: bool = True) -> Receipt:
    """The receipt that this download goes on with, or a new one."""
    Delivery.objects.select_for_update(of=("self",)).get(pk=delivery.pk)  # two stretches at once are one download
    same = {"what": content.what, "file": content.file, "etag": content.etag, "user": taker.user, "link": taker.link}
    known = delivery.receipts.filter(**same, completed_at=None).last()
    return known or delivery.receipts.create(**same, length_bytes=content.length_bytes, counted=is_counted)


@transaction.atomic
def note_taken(receipt: Receipt, start: int, stop: int) -> None:
    receipt = Receipt.objects.select_for_update(of=("self",)).get(pk=receipt.pk)
    receipt.take(merged([*receipt.parts, [start, stop]]))


def merged(parts: list[list[int]]) -> list[list[int]]:
    """Stretches in order, those that touch or overlap as one."""
    result: list[list[int]] = []
    for start, stop in sorted(parts):
        if result and start <= result[-1][1]:
            result[-1][1] = max(result[-1][1], stop)
        else:
            result.append([start, stop])
    return result


def are_sent_by_us() -> bool:
    """Whether this process hands over a stored file itself, and so can count it."""
    return not (settings.ACCEL_PREFIX or settings.S3_BUCKET)
