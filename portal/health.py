"""/healthz: is this process able to serve, with its database and its queue within reach?"""

import logging

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu.exceptions import OperationalError

from portal.celery import app

BROKER_TIMEOUT_S = 2

logger = logging.getLogger(__name__)


@require_safe
@never_cache
def health(_request: HttpRequest) -> JsonResponse:
    """200 when both answer, else 503. It says which one, never why: the reason is in the log."""
    parts = {"database": database_answers(), "queue": queue_answers()}
    words = {name: "ok" if answers else "down" for name, answers in parts.items()}
    return JsonResponse(words, status=200 if all(parts.values()) else 503)


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError as error:
        logger.warning("The database does not answer: %s", error)
        return False
    return True


def queue_answers() -> bool:
    try:
        with app.connection_for_read(connect_timeout=BROKER_TIMEOUT_S) as queue:
            queue.ensure_connection(max_retries=1, timeout=BROKER_TIMEOUT_S)
    except (OperationalError, OSError) as error:
        logger.warning("The queue does not answer: %s", error)
        return False
    return True
