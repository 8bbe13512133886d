"""Tasks are queued by name: every name that is written anywhere in the portal is one that a worker knows."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from celery import Task
from django.conf import settings
from django.utils.module_loading import import_string

PORTAL = Path(settings.BASE_DIR) / "portal"
QUEUEING = {"queue_task", "queue_task_on_commit"}
# `queueing.py` itself passes a name on; every other call names its task in so many words.
CALLERS = sorted(path for path in PORTAL.rglob("*.py") if path.name != "queueing.py")


def queued_names() -> Iterator[str]:
    for path in CALLERS:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in QUEUEING:
                yield ast.literal_eval(node.args[0])


NAMES = sorted({*queued_names(), *(entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values())})


def test_the_calls_are_found() -> None:
    assert "portal.intake.tasks.survey_file" in NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_worker_knows_the_task_under_this_name(name: str) -> None:
    task = import_string(name)

    assert isinstance(task, Task)
    assert task.name == name
