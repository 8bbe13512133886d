"""What beat does for uploads: finish what a killed process left, and clear away what nobody goes on with."""

from __future__ import annotations

import logging
import uuid
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import F, Q
from django.utils import timezone

from portal.queueing import for_each_row
from portal.uploads import multipart
from portal.uploads.errors import UploadBusyError, UploadError
from portal.uploads.expiry import KEPT_EMPTY, KEPT_OPEN, give_up
from portal.uploads.finishing import finish
from portal.uploads.models import PARTIAL, Upload

# Younger ones are most likely being finished by the request that brought the last byte.
LEFT_ALONE_FOR = timedelta(minutes=1)

logger = logging.getLogger(__name__)


def finish_waiting() -> None:
    """Store uploads whose bytes are all there but whose process died before it handed them on."""
    waiting = Upload.objects.filter(state=Upload.State.OPEN, touched_at__lt=timezone.now() - LEFT_ALONE_FOR)
    complete = waiting.filter(Q(offset_bytes=F("length_bytes")) | ~Q(parts=[])).exclude(concat=PARTIAL)
    for_each_row(complete, finish_one, what="upload")


def finish_one(upload: Upload) -> None:
    try:
        finish(upload)
    except UploadError as error:
        # One that cannot be stored now is tried again at the next round.
        logger.warning("upload %s: not finished: %s", upload.pk, error.sentence)


def expire_abandoned() -> None:
    """Remove the bytes of uploads that nobody went on with."""
    now = timezone.now()
    left = Q(touched_at__lt=now - KEPT_OPEN) | Q(touched_at__lt=now - KEPT_EMPTY, offset_bytes=0)
    unfinished = Q(offset_bytes__lt=F("length_bytes")) | Q(concat=PARTIAL)
    abandoned = Upload.objects.filter(left, unfinished, state=Upload.State.OPEN, parts=[])
    for_each_row(abandoned.values_list("pk", flat=True), give_up_one, what="upload")
    remove_strays()
    if settings.S3_BUCKET:
        multipart.remove_strays(still_open)


def give_up_one(upload_id: uuid.UUID) -> None:
    try:
        give_up(upload_id)
    except UploadBusyError:
        logger.info("upload %s: went on at the last moment", upload_id)


def remove_strays() -> None:
    """Remove what is left in the upload folder of uploads that are over: their bytes are in the store, or given up."""
    # Files first, rows second: an upload that is made in between has its row before its file.
    # The locks of originals are named by a hash, which has no hyphen.
    files = {path: path.name.partition(".")[0] for path in Path(settings.UPLOAD_DIR).glob("*-*.*")}
    are_open = still_open()
    for path, upload_id in files.items():
        if upload_id not in are_open:
            path.unlink(missing_ok=True)


def still_open() -> set[str]:
    return {str(upload_id) for upload_id in Upload.objects.filter(state=Upload.State.OPEN).values_list("pk", flat=True)}
