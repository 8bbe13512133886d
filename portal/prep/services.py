"""What an approved tempo map starts."""

from __future__ import annotations

from portal.prep import tasks
from portal.queueing import start_on_commit


def prepare(approved_map_id: int) -> None:
    """Have the files made once the approval is safe. A queue that is down undoes nothing: the sweep finds the map."""
    start_on_commit(tasks.make_files, approved_map_id)
