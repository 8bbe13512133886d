"""What a drummer does at the kit: log takes, and set a balance. All of it may arrive late, and more than once.

The same log is kept by hand on the song's page: there a change says which revision the page showed.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from portal.bookings.models import Song
from portal.kit.errors import KitError
from portal.kit.models import HIGHEST_NUMBER, Balance, TakeLog
from portal.people.models import User

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class SentTake:
    """One take in the state that the device has it in."""

    id: UUID
    number: int
    is_kept: bool
    word: str
    section: str
    speed_percent: int
    is_undone: bool
    revision: int
    logged_at: datetime


@transaction.atomic
def log_takes(*, song: Song, takes: Sequence[SentTake], by: User) -> None:
    """In the order they were sent. A take that is there already takes what is newer, and is not logged again. What was
    played before a booking was over may arrive later: the page at the kit logs no more, and what it has is not lost."""
    Song.objects.select_for_update().get(pk=song.pk)  # two pages that send the same take wait for each other
    for take in takes:
        _log_take(song, take, by)


def _log_take(song: Song, take: SentTake, by: User) -> None:
    found = TakeLog.objects.filter(pk=take.id).first()
    if found is None:
        TakeLog.objects.create(
            id=take.id,
            song=song,
            by=by,
            number=take.number,
            is_kept=take.is_kept,
            word=take.word,
            section=take.section,
            speed_percent=take.speed_percent,
            is_undone=take.is_undone,
            revision=take.revision,
            logged_at=take.logged_at,
        )
        return
    if found.song_id != song.pk or found.by_id != by.pk:
        raise KitError("One of these takes belongs to another song or drummer.")
    if take.revision > found.revision:
        found.change(
            number=take.number,
            is_kept=take.is_kept,
            word=take.word,
            is_undone=take.is_undone,
            revision=take.revision,
        )


@transaction.atomic
def log_by_hand(*, song: Song, number: int, is_kept: bool, word: str, by: User) -> TakeLog:
    """A whole performance, written down on the song's page. A number that stands already is not given twice."""
    _locked_open(song.pk)
    if song.take_logs.standing().filter(number=number).exists():
        raise KitError(f"Take {number} is in the log already. The next free number is {next_number(song)}.")
    return TakeLog.objects.create(song=song, by=by, number=number, is_kept=is_kept, word=word, logged_at=timezone.now())


@transaction.atomic
def change_by_hand(*, take: TakeLog, seen: int, by: User, **changes: Any) -> None:
    """`seen` is the revision that the page showed: what a device changed meanwhile is not written over.

    The row stays its first drummer's: their device goes on sending its own changes to it.
    """
    _locked_open(take.song_id)
    take = TakeLog.objects.select_for_update().get(pk=take.pk)
    if take.revision != seen:
        raise KitError(f"Take {take.number} was changed meanwhile. Here it is as it is now.")
    fields = {name: getattr(take, name) for name in ("number", "is_kept", "word", "is_undone")} | changes
    same_number = take.song.take_logs.standing().filter(number=fields["number"]).exclude(pk=take.pk)
    if not fields["is_undone"] and same_number.exists():
        raise KitError(f"Take {fields['number']} is in the log already.")
    take.change(**fields, revision=take.revision + 1)
    logger.info("take %s: changed by hand by user %s", take.pk, by.pk)


def _locked_open(song_id: int) -> None:
    if Song.objects.select_for_update(of=("self",)).select_related("booking").get(pk=song_id).booking.is_over:
        raise KitError("This booking is over: its takes stay as they are.")


def next_number(song: Song) -> int:
    """After the highest that stands."""
    highest = song.take_logs.standing().aggregate(highest=Max("number"))["highest"] or 0
    return min(highest + 1, HIGHEST_NUMBER)


@transaction.atomic
def set_balance(*, song: Song, levels: dict[str, Any], changed_at: datetime, by: User) -> None:
    """The newest change stands: one that was made earlier and arrives later changes nothing."""
    Song.objects.select_for_update().get(pk=song.pk)
    balance = Balance.objects.filter(song=song, drummer=by).first()
    if balance is None:
        Balance.objects.create(song=song, drummer=by, levels=levels, changed_at=changed_at)
    elif changed_at > balance.changed_at:
        balance.take(levels, changed_at=changed_at)
