"""Tasks are queued by name: every name that is written anywhere in the portal is one that a worker knows."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from celery import Task
from django.conf import settings
from django.utils.module_loading import import_string
from kombu import Message, Queue

from portal import queueing
from portal.celery import app
from portal.demo import processes
from tests.portal.test_celery import queue_at

PORTAL = Path(settings.BASE_DIR) / "portal"
QUEUEING = {"queue_task", "queue_task_on_commit"}
# `queueing.py` itself passes a name on; every other call names its task in so many words.
CALLERS = sorted(path for path in PORTAL.rglob("*.py") if path.name != "queueing.py")


def queued_names() -> Iterator[str]:
    texts = [path.read_text("utf-8") for path in CALLERS]
    for text in filter(lambda text: "queue_task" in text, texts):
        for node in ast.walk(ast.parse(text)):
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


QUEUES = {
    "portal.mailroom.tasks.send_mail": "mail",
    "portal.mailroom.tasks.send_waiting": "sweeps",
    "portal.intake.tasks.sweep": "sweeps",
    "portal.lanes.tasks.sweep": "sweeps",
    "portal.money.tasks.note_expired": "sweeps",
    "portal.intake.tasks.unpack_zip": "unpacking",
    "portal.uploads.tasks.finish_waiting": "unpacking",
    "portal.intake.tasks.survey_file": "files",
    "portal.prep.tasks.make_pack": "packs",
    "portal.intake.tasks.measure_song": "measuring",
    "portal.lanes.tasks.make_copy": "measuring",
    "portal.delivery.tasks.check_delivery": "measuring",
}


@pytest.mark.parametrize("name", QUEUES)
def test_each_kind_of_work_has_a_queue_of_its_own(name: str) -> None:
    assert queueing.queue_of(name) == QUEUES[name]


@pytest.mark.parametrize("workers", [None, processes.WORKERS, processes.SMALL_WORKERS])
def test_every_queue_has_a_worker(workers: tuple[tuple[str, str, int], ...] | None) -> None:
    """In a demo, and where one plain `celery worker` serves a house."""
    served = {name for _, names, _ in workers for name in names.split(",")} if workers else set(app.amqp.queues)
    assert served == {queueing.queue_of(name) for name in NAMES}


def test_messages_that_nobody_took_are_counted(queue_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    queue = queue_at(queue_url)
    monkeypatch.setattr(queueing, "current_app", queue)
    assert queueing.length_of("counted") == 0
    with queue.connection_for_write() as connection:
        Queue("counted")(connection.default_channel).declare()
        for priority in (0, 9):
            connection.Producer().publish("turn", routing_key="counted", priority=priority)
    assert queueing.length_of("counted") == 2


MEASURED, PACKED = ("portal.intake.tasks.survey_file", "measure_song"), ("portal.prep.tasks.make_pack", "unpack_zip")


@pytest.mark.parametrize(("queues", "tasks"), [(["measuring", "files"], MEASURED), (["unpacking", "packs"], PACKED)])
def test_what_is_many_and_long_waits_behind_what_came_later(
    queue_url: str, queues: list[str], tasks: tuple[str, str]
) -> None:
    """More files behind what follows from measured ones; and packs behind zips, where one worker has both."""
    many, single = tasks[0], f"portal.intake.tasks.{tasks[1]}"
    queue = queue_at(queue_url)
    got: list[str] = []
    with queue.connection_for_write() as connection:
        for name in queues:
            Queue(name)(connection.default_channel).declare()
        for name in (many, many, single):
            route = app.amqp.router.route({}, name)
            connection.Producer().publish(name, routing_key=route["queue"].name, priority=route.get("priority", 0))
        consumer = connection.Consumer([Queue(name) for name in queues], callbacks=[lambda body, m: take(body, m, got)])
        consumer.qos(prefetch_count=1)
        with consumer:
            while len(got) < 3:
                connection.drain_events(timeout=10)
    assert got == [single, many, many]


def take(body: str, message: Message, got: list[str]) -> None:
    got.append(body)
    message.ack()


def test_a_row_that_fails_is_noted_and_those_behind_it_do_not_wait(caplog: pytest.LogCaptureFixture) -> None:
    done: list[int] = []

    def do(row: int) -> None:
        if row == 2:
            raise ValueError("a NUL")
        done.append(row)

    queueing.for_each_row([1, 2, 3], do, what="upload")
    assert done == [1, 3]
    assert "upload 2: left for the next round" in caplog.text
