import os
import subprocess
import sys
from pathlib import Path

from celery import Celery
from kombu import Queue

from portal.celery import app as house_queue
from portal.celery import hold_jobs_apart, restore_unacknowledged

# A queue for each test: they may run in any order, and side by side.
JOBS, OTHER_JOBS = "jobs-that-were-left", "jobs-of-another-kind"
# Takes a job and dies at once, as a worker does that is killed: nothing is acknowledged or given back.
TAKE_AND_DIE = f"""
import os, sys
from kombu import Connection, Queue
with Connection(sys.argv[1]) as connection:
    job = Queue("{JOBS}")(connection.default_channel).get()
    print(job.payload, flush=True)
    os._exit(9)
"""


def queue_at(url: str) -> Celery:
    # Not the current one: shared tasks of tests that come later must stay with the house's own.
    app = Celery("test", broker=url, set_as_current=False)
    app.conf.broker_transport_options = house_queue.conf.broker_transport_options
    return app


def test_a_job_that_a_killed_worker_held_is_handed_out_again_at_once_and_once(queue_url: str) -> None:
    app = queue_at(queue_url)
    with app.connection_for_write() as connection:
        connection.SimpleQueue(JOBS).put("survey 7")
    killed = subprocess.run(
        [sys.executable, "-c", TAKE_AND_DIE, queue_url], capture_output=True, text=True, check=False
    )
    assert (killed.returncode, killed.stdout) == (9, "survey 7\n")

    restore_unacknowledged(app)

    with app.connection_for_read() as connection:
        queue = Queue(JOBS)(connection.default_channel)
        job = queue.get()
        assert job is not None
        assert job.payload == "survey 7"
        job.ack()
        assert queue.get() is None


def test_a_worker_that_starts_anew_leaves_alone_what_another_kind_of_worker_holds(queue_url: str) -> None:
    mail, measuring = queue_at(queue_url), queue_at(queue_url)
    hold_jobs_apart(mail.conf, {"queues": "mail,sweeps"})
    hold_jobs_apart(measuring.conf, {"queues": ["measuring", "files"]})
    with measuring.connection_for_write() as connection:
        connection.SimpleQueue(OTHER_JOBS).put("song 7")
        held = Queue(OTHER_JOBS)(connection.default_channel).get()
        assert held is not None

        restore_unacknowledged(mail)

        assert Queue(OTHER_JOBS)(connection.default_channel).get() is None
        restore_unacknowledged(measuring)
        again = Queue(OTHER_JOBS)(connection.default_channel).get()
        assert again is not None
        assert again.payload == "song 7"
        again.ack()


def test_a_job_may_run_as_long_as_it_stays_invisible() -> None:
    longest_s = house_queue.conf.task_time_limit

    assert house_queue.conf.broker_transport_options["visibility_timeout"] > longest_s


def test_a_job_is_acknowledged_when_it_is_done() -> None:
    conf = house_queue.conf

    assert (conf.task_acks_late, conf.task_reject_on_worker_lost, conf.worker_prefetch_multiplier) == (True, True, 1)


def test_a_worker_has_loaded_the_addresses_before_its_first_job() -> None:
    """Within a job they would be loaded in its transaction: 0.2 s in which nobody else writes on SQLite. What the
    engine measures and prints with is not among them: it costs a process two seconds, and works in children alone."""
    code = (
        "import sys; from portal.celery import app; before = 'portal.urls' in sys.modules; "
        "app.Worker(queues=['mail']); print(before, 'portal.urls' in sys.modules); "
        "print(*{'scipy', 'fpdf', 'librosa', 'verovio'} & set(sys.modules))"
    )
    started = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert started.stdout == "False True\n\n", started.stderr


def test_the_clock_loads_no_tasks_and_sends_them_by_name_to_their_queues(queue_url: str, tmp_path: Path) -> None:
    code = (
        "import sys; from portal.celery import app; clock = app.Beat(quiet=True); clock.init_loader(); "
        "scheduler = clock.Service(app=app, schedule_filename=clock.schedule).get_scheduler(); "
        "scheduler.apply_entry(scheduler.schedule['send waiting mail']); "
        "print('portal.mailroom.tasks' in sys.modules, 'portal.mailroom.models' in sys.modules)"
    )
    named = {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "KITPOST_BROKER_URL": queue_url,
        "KITPOST_DATA_DIR": str(tmp_path),
        "KITPOST_DEMO": "true",
    }
    started = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | named, capture_output=True, text=True, check=False
    )
    assert started.stdout == "False False\n", started.stderr
    with queue_at(queue_url).connection_for_read() as connection:
        sent = Queue("sweeps")(connection.default_channel).get()
        assert sent is not None
        sent.ack()
    assert sent.headers["task"] == "portal.mailroom.tasks.send_waiting"
    assert sent.headers["expires"] is not None
