"""Queueing tasks by name. The rows say what is to be done; the queue only makes it happen sooner."""

from django.db import transaction
from django.utils.module_loading import import_string


def queue_task(task_name: str, *arguments: int | str, after_s: int = 0) -> None:
    """Queue the task with this registered name, for instance `portal.intake.tasks.survey_file`, to begin after so many
    seconds.

    By name, so that no job imports a task: tasks import jobs. `tests/portal/test_queueing.py` checks every name.
    """
    task = import_string(task_name)
    if after_s:
        task.apply_async(arguments, countdown=after_s)
    else:
        task.delay(*arguments)


def queue_task_on_commit(task_name: str, *arguments: int | str, after_s: int = 0) -> None:
    """Queue a task once its row is safe. A queue that is down is logged and undoes nothing: a sweep finds the row."""

    def start() -> None:
        queue_task(task_name, *arguments, after_s=after_s)

    # A plain function: Django names the callback in its log line, and a partial has no name.
    transaction.on_commit(start, robust=True)
