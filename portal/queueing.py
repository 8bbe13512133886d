"""Queueing tasks by name. The rows say what is to be done; the queue only makes it happen sooner.

Each kind of work has a queue of its own (`settings.py`): an e-mail never waits behind sound.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

from celery import current_app
from django.db import transaction
from django.utils.module_loading import import_string

logger = logging.getLogger(__name__)

Row = TypeVar("Row")


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


def queue_left(task_name: str, keys: Iterable[int]) -> None:
    """Queue what a sweep found left lying. As long as the task's queue holds messages, it only waits: it is not queued
    a second time."""
    keys = list(keys)
    if not keys or length_of(queue_of(task_name)):
        return
    for key in keys:
        queue_task(task_name, key)


def queue_of(task_name: str) -> str:
    return str(current_app.amqp.router.route({}, task_name)["queue"].name)


def length_of(queue_name: str) -> int:
    """How many messages no worker has taken yet."""
    with current_app.connection_or_acquire() as connection:
        try:
            return int(connection.default_channel.queue_declare(queue_name, passive=True).message_count)
        except connection.channel_errors:
            return 0  # a queue that is empty is not there


def for_each_row(rows: Iterable[Row], do: Callable[[Row], object], *, what: str) -> None:
    """What a sweep does with each row that it found. One that fails is noted; those behind it do not wait for it."""
    for row in rows:
        try:
            do(row)
        except Exception:
            logger.exception("%s %s: left for the next round", what, row)
