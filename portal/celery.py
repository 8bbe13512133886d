"""The queue: `celery -A portal worker` and `celery -A portal beat`. Its settings are settings.py's CELERY_ names."""

import logging
import os
from functools import cached_property
from typing import Any

from celery import Celery
from celery.signals import celeryd_init, worker_init, worker_process_init

from analysis.sandbox import LAYERS, layers_that_hold
from portal import env
from portal.processes import die_with, wipe_environment

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

EVERY_ONE = -1

logger = logging.getLogger(__name__)


class HouseCelery(Celery):
    @cached_property
    def Beat(self) -> Any:  # noqa: N802 - celery's name
        from portal.clock import Clock

        return self.subclass_with_self(Clock)


app = HouseCelery("kitpost")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_process_init.connect
def leave_no_orphans(**_: Any) -> None:
    die_with(os.getppid())


@celeryd_init.connect
def hold_jobs_apart(conf: Any, options: Any, **_: Any) -> None:
    """Each worker notes the jobs that it holds in a place of its own: one that starts anew takes up its own alone."""
    names = options.get("queues")
    if names:
        names = names.split(",") if isinstance(names, str) else names
        of_these = "-".join(sorted(names))
        conf.broker_transport_options = conf.broker_transport_options | {
            "unacked_key": f"unacked-{of_these}",
            "unacked_index_key": f"unacked-index-{of_these}",
            "unacked_mutex_key": f"unacked-mutex-{of_these}",
        }


@worker_init.connect
def keep_secrets(**_: Any) -> None:
    """Workers open uploads: once their settings are read, their environment need not hold the secrets any more."""
    from portal import settings  # noqa: F401 - reading it takes the secrets in

    wipe_environment(env.secrets_read)


@worker_init.connect
def load_addresses(**_: Any) -> None:
    """With all that they import, and what letters look like: the first one would load it within its transaction, and
    others wait for that."""
    from django.template.loader import get_template
    from django.urls import get_resolver

    len(get_resolver().reverse_dict)
    get_template("mailroom/letter.txt")


@worker_init.connect
def say_what_holds(**_: Any) -> None:
    held = layers_that_hold()
    missing = [layer for layer in LAYERS if layer not in held]
    logger.info(
        "Sound files are opened behind: %s%s",
        ", ".join(held) or "no layer",
        f". Not offered here: {', '.join(missing)}" if missing else "",
    )


@worker_init.connect
def take_up_orphaned_jobs(**_: Any) -> None:
    """Put jobs that a killed worker held back in the queue at once, where no other worker can be at one of them."""
    from django.conf import settings

    if settings.SOLE_WORKER:
        restore_unacknowledged(app)


def restore_unacknowledged(app: Celery) -> None:
    """Hand out again every job that was given to a worker and never acknowledged, however short a time ago."""
    with app.connection_for_read() as connection:
        channel: Any = connection.default_channel
        channel.visibility_timeout = 0
        channel.qos.restore_visible(num=EVERY_ONE)
