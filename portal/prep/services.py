"""What an approved tempo map starts."""

from __future__ import annotations

from portal.queueing import queue_task_on_commit


def prepare(approved_map_id: int) -> None:
    """Have the files made once the approval is safe. A queue that is down undoes nothing: the sweep finds the map."""
    queue_task_on_commit("portal.prep.tasks.make_files", approved_map_id)
