"""Makes a corrected set from a set's files, one by one, in children; then it takes their place and is checked again.

What was sent is read here and never touched: it stays in the store, and on the page as replaced.
"""

from __future__ import annotations

import errno
import logging
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.db import transaction

from analysis.core import RepairError
from analysis.handover import Repair
from analysis.sandbox import repair_in_child
from portal.bookings import services as bookings
from portal.bookings.models import Song
from portal.delivery.models import SHEET_COLUMNS, Delivery, DeliveryFile, SetRepair
from portal.delivery.names import RESERVED_NAMES, fold
from portal.delivery.repairs.offers import Wanted
from portal.delivery.song_facts import note_sets
from portal.file_serving import local_copy
from portal.job_folders import job_folder
from portal.making import MOST_TRIES, left_alone, make_once
from portal.queueing import queue_task_on_commit
from portal.uploads import originals, parts

MOST_SAMPLE_BYTES = 4
Polarity = DeliveryFile.Polarity
TURNED_OVER: dict[str, str] = {
    Polarity.UNSAID: Polarity.TURNED,
    Polarity.TURNED: Polarity.UNSAID,
    Polarity.RECORDED: Polarity.FLIPPED,
    Polarity.FLIPPED: Polarity.RECORDED,
}
CHANGED = "The set changed while it was being corrected. Check it, then correct it again."
FULL = "The server’s disk became full. Make room there, then correct the set again."
STOPPED = f"Correcting the set was stopped {MOST_TRIES} times at the same file. Look at the server’s log."

logger = logging.getLogger(__name__)


def make_repair(repair_id: int) -> None:
    """Who comes after a killed worker goes on with the next file; however it ends, the turn is right afterwards."""
    rows = SetRepair.objects.select_related("delivery__song__booking", "asked_by")
    make_once(rows, repair_id, _make, stopped=STOPPED)
    for song in Song.objects.filter(deliveries__repairs=repair_id):  # none, if the repair is gone
        note_sets(song)


def repairs_left_alone() -> list[int]:
    return left_alone(SetRepair.objects.all())


def _make(repair: SetRepair) -> None:
    wanted = Wanted(Repair.from_json(repair.repair), repair.renamed)
    try:
        for file in repair.delivery.files.current():
            if wanted.changes(file) and not _is_made(repair, file):
                repair.add(file.pk, _made(file, wanted))
        _finish(repair, wanted)
    except RepairError as error:
        repair.fail(f"Nothing was corrected: {error}.")
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT):
            raise
        repair.fail(FULL)
    logger.info("repair %s: %s", repair.pk, repair.trouble or repair.state)


def _is_made(repair: SetRepair, file: DeliveryFile) -> bool:
    made = repair.made.get(str(file.pk))
    return made is not None and default_storage.exists(made["key"])


def _made(file: DeliveryFile, wanted: Wanted) -> dict[str, Any]:
    frames = max(file.facts.get("frames") or 0, wanted.repair.frames or 0) + max(0, wanted.repair.later_frames)
    sound_bytes = frames * (file.facts.get("channels") or 1) * MOST_SAMPLE_BYTES
    with job_folder() as folder, local_copy(file.key) as original:
        new = Path(folder, "corrected.wav")
        done = repair_in_child(original, new, wanted.repair, name=file.name, sound_bytes=sound_bytes)
        sha256, size_bytes = originals.hash_part(new), new.stat().st_size
        key = originals.key_for(sha256)
        with parts.locked(sha256):
            originals.store(new, key=key, sha256=sha256)
    return {"name": done.file, "key": key, "sha256": sha256, "size_bytes": size_bytes, "lines": list(done.lines)}


@transaction.atomic
def _finish(repair: SetRepair, wanted: Wanted) -> None:
    """The corrected files take their places all at once, under the lock under which a set is released."""
    delivery = (
        Delivery.objects.select_for_update(of=("self",)).select_related("song__booking").get(pk=repair.delivery_id)
    )
    files = list(delivery.files.current())
    if not delivery.is_open or fingerprint_of(files) != repair.files:
        repair.fail(CHANGED)
        return
    corrected = [(file, new) for file in files if (new := _new_of(file, repair, wanted))]
    _check_names(files, corrected)
    for file, _ in corrected:
        file.be_replaced()
    for file, new in corrected:
        _put_in_place(delivery, file, new, repair)
    repair.finish()
    lines = [line for _, new in corrected for line in new["lines"]]
    text = f"corrected delivery {delivery.number}: {' '.join(lines)}"
    bookings.record(delivery.song.booking, text, actor=repair.asked_by, song=delivery.song)
    delivery.reopen()
    delivery.ask_check()
    queue_task_on_commit("portal.delivery.tasks.check_delivery", delivery.pk)


def fingerprint_of(files: list[DeliveryFile]) -> list[list[Any]]:
    return [[file.pk, file.sha256] for file in files]


def _new_of(file: DeliveryFile, repair: SetRepair, wanted: Wanted) -> dict[str, Any] | None:
    """What takes a file's place; None for one that stays as it is."""
    kept = {"name": file.name, "key": file.key, "sha256": file.sha256, "size_bytes": file.size_bytes, "lines": []}
    new = repair.made.get(str(file.pk), kept)
    if name := wanted.renamed.get(file.name):
        new = new | {"name": name, "lines": [*new["lines"], f"{file.name} was renamed to {name}."]}
    return new if new["lines"] else None


def _check_names(files: list[DeliveryFile], corrected: list[tuple[DeliveryFile, dict[str, Any]]]) -> None:
    gone = {file.pk for file, _ in corrected}
    names = [fold(new["name"]) for _, new in corrected]
    names += [file.folded_name for file in files if file.pk not in gone] + list(RESERVED_NAMES)
    twice = [new["name"] for _, new in corrected if names.count(fold(new["name"])) > 1]
    if twice:
        raise RepairError(f"there is a file {twice[0]} in the set already")


def _put_in_place(delivery: Delivery, file: DeliveryFile, new: dict[str, Any], repair: SetRepair) -> None:
    folded, written = fold(new["name"]), {name: getattr(file, name) for name in SHEET_COLUMNS}
    if file.name in repair.repair["flipped"]:
        written["polarity"] = TURNED_OVER[file.polarity]
    newest = delivery.files.filter(folded_name=folded).order_by("-version").first()
    DeliveryFile.objects.create(
        delivery=delivery,
        version=newest.version + 1 if newest else 1,
        sent_by=repair.asked_by,
        name=new["name"],
        folded_name=folded,
        corrections=[*file.corrections, *new["lines"]],
        **{name: new[name] for name in ("key", "sha256", "size_bytes")},
        **written,
    )
