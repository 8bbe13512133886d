"""Asking for a corrected set."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction

from portal.delivery.errors import NotCheckedError
from portal.delivery.models import Delivery, SetRepair
from portal.delivery.repairs.jobs import fingerprint_of
from portal.delivery.repairs.offers import wanted_of
from portal.delivery.services import locked_open
from portal.delivery.song_facts import note_sets
from portal.people.models import User
from portal.queueing import queue_task_on_commit


@transaction.atomic
def ask_repair(*, delivery: Delivery, keys: Collection[str], by: User) -> SetRepair:
    """Have a checked set corrected in what the keys name. Asked twice while it is made, it is made once."""
    delivery = locked_open(delivery)
    making = delivery.repairs.filter(state=SetRepair.State.MAKING).first()
    if making is not None:
        return making
    if delivery.state != Delivery.State.CHECKED:
        raise NotCheckedError("The set has changed since the last check: run the checks first.")
    files = list(delivery.files.current())
    wanted = wanted_of(delivery, files, keys)
    if wanted is None:
        raise NotCheckedError("Tick what is to be corrected.")
    repair = SetRepair.objects.create(
        delivery=delivery,
        files=fingerprint_of(files),
        repair=wanted.repair.to_json(),
        renamed=wanted.renamed,
        asked_by=by,
    )
    note_sets(delivery.song)
    # A queue that is down undoes nothing: the sweep finds it.
    queue_task_on_commit("portal.delivery.tasks.make_repair", repair.pk)
    return repair
