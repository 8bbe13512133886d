"""Queueing tasks by name. The rows say what is to be done; the queue only makes it happen sooner."""

from django.db import transaction
from django.utils.module_loading import import_string


def queue_task(task_name: str, *arguments: int | str) -> None:
    """Queue the task with this registered name, for instance `portal.intake.tasks.survey_file`.

    By name, so that no job imports a task: tasks import jobs. `tests/portal/test_queueing.py` checks every name.
    """
    import_string(task_name).delay(*arguments)


def queue_task_on_commit(task_name: str, *arguments: int | str) -> None:
    """Queue a task once its row is safe. A queue that is down is logged and undoes nothing: a sweep finds the row."""

    def start() -> None:
        queue_task(task_name, *arguments)

    # A plain function: Django names the callback in its log line, and a partial has no name.
    transaction.on_commit(start, robust=True)
