"""What an approved tempo map starts."""

from __future__ import annotations

from functools import partial

from django.db import transaction

from portal.prep import tasks


def prepare(approved_map_id: int) -> None:
    """Have the files made once the approval is safe. A queue that is down undoes nothing: the sweep finds the map."""
    transaction.on_commit(partial(tasks.make_files.delay, approved_map_id), robust=True)
