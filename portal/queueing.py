"""Handing work to the queue. The rows say what is to be done, the queue only says it sooner."""

from typing import Any

from celery import Task
from django.db import transaction


def start_on_commit(task: "Task[Any, Any]", *arguments: int | str) -> None:
    """Queue a task once its row is safe. A queue that is down is logged and undoes nothing: the sweep finds the row."""

    def start() -> None:
        task.delay(*arguments)

    # A plain function: Django names the callback in its log line, and a partial has no name.
    transaction.on_commit(start, robust=True)
