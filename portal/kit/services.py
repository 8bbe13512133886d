"""What a drummer does at the kit: log takes, and set a balance. All of it may arrive late, and more than once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from portal.bookings.models import Song
from portal.kit.errors import KitError
from portal.kit.models import Balance, TakeLog
from portal.people.models import User


@dataclass(frozen=True)
class SentTake:
    """One take in the state that the device has it in."""

    id: UUID
    number: int
    is_kept: bool
    word: str
    is_undone: bool
    revision: int
    logged_at: datetime


@transaction.atomic
def log_takes(*, song: Song, takes: Sequence[SentTake], by: User) -> None:
    """In the order they were sent. A take that is there already takes what is newer, and is not logged again."""
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
def set_balance(*, song: Song, levels: dict[str, Any], changed_at: datetime, by: User) -> None:
    """The newest change stands: one that was made earlier and arrives later changes nothing."""
    Song.objects.select_for_update().get(pk=song.pk)
    balance = Balance.objects.filter(song=song, drummer=by).first()
    if balance is None:
        Balance.objects.create(song=song, drummer=by, levels=levels, changed_at=changed_at)
    elif changed_at > balance.changed_at:
        balance.take(levels, changed_at=changed_at)
