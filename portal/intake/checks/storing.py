"""A check of many files is stored in pieces: whoever else writes waits for one of them, and not for all.

What was found is written ahead, and seen by nobody. The last piece alone says something: it opens and resolves the
findings, asks the client, and moves the song. A worker that is killed before it leaves a report, from which whoever
begins again writes ahead anew.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from analysis import ENGINE_VERSION
from portal.bookings.models import Song
from portal.intake.checks import apply_check, inputs
from portal.intake.files.waiting import awaited_of
from portal.intake.models import CLAIM_LASTS, FileCourse, Finding, SongCheck

MOST_ROWS = 50
# For so long nothing is written in between: who waits for SQLite's lock asks for it every 0.1 s.
PAUSE_S = 0.11

logger = logging.getLogger(__name__)

Row = TypeVar("Row")


def store(check: SongCheck, report: dict[str, Any], found: apply_check.FoundBySource) -> None:
    """Keep the check and act on it, unless the song moved on while it was measured, or more of it began to come: then
    its own check comes, and this one says nothing. `found` was read from the report."""
    if still_due(check.song, check):
        check.keep(report=report, engine=ENGINE_VERSION)
        while not finish(check, *written_ahead(check, found)):
            logger.info("song %s: another check came between", check.song_id)
    else:
        logger.info("song %s: changed while it was measured", check.song_id)
    clear(check)


def still_due(song: Song, check: SongCheck) -> inputs.CheckInputs | None:
    """What a check was made from, if that is what the song holds now, and nothing more is awaited."""
    gathered = inputs.gather(song)
    if gathered is None or gathered.fingerprint != check.fingerprint or awaited_of(song):
        return None
    return gathered


def written_ahead(check: SongCheck, found: apply_check.FoundBySource) -> tuple[apply_check.Changes, object]:
    """The changes, and after which check of the song they were worked out."""
    clear(check)
    after = newest_of(check.song)
    changes = apply_check.changes_by(check, found)
    in_pieces(changes.opened, Finding.everything.bulk_create)
    # Only of those that are open still: what somebody decides meanwhile, and says about it, stays.
    in_pieces(changes.ended, lambda piece: Finding.objects.open().bulk_update(piece, ["resolved_by", "reason"]))
    in_pieces(changes.moved, lambda piece: Finding.objects.bulk_update(piece, ["source", "place"]))
    return changes, after


@transaction.atomic
def finish(check: SongCheck, changes: apply_check.Changes, after: object) -> bool:
    """The last piece: false when another check was stored since the changes were worked out."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=check.song_id)
    gathered = still_due(song, check)
    if gathered is None:
        logger.info("song %s: changed while its check was stored", song.pk)
        return True
    is_whole = Finding.everything.coming().filter(found_in=check).count() == len(changes.opened)
    if newest_of(song) != after or not is_whole:
        return False
    FileCourse.of(song).take()
    check.finish()
    apply_check.settle(song, gathered, check, changes)
    return True


def newest_of(song: Song) -> object:
    return song.checks.done().values_list("pk", "made_at").first()


def clear(check: SongCheck) -> None:
    """What was written ahead and not opened: by this check, and by others of the song whose workers died."""
    is_dead = Q(found_in__began_at__lt=timezone.now() - CLAIM_LASTS)
    left = Finding.everything.coming().filter(Q(found_in=check) | is_dead, song=check.song_id)
    keys = list(left.values_list("pk", flat=True))
    in_pieces(keys, lambda piece: Finding.everything.coming().filter(pk__in=piece).delete())


def in_pieces(rows: Sequence[Row], write: Callable[[Sequence[Row]], object]) -> None:
    for start in range(0, len(rows), MOST_ROWS):
        if start:
            time.sleep(PAUSE_S)
        write(rows[start : start + MOST_ROWS])
