"""What a measured file starts."""

from __future__ import annotations

from portal.queueing import queue_task_on_commit


def copy_soon(source_id: int) -> None:
    """What `intake.hooks.on_file_measured` calls. A queue that is down undoes nothing: the sweep finds the file."""
    queue_task_on_commit("portal.lanes.tasks.make_copy", source_id)
