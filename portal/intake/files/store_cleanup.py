"""Clearing originals out of the store. The same content is one object however many files name it: it goes with the
last of them."""

from __future__ import annotations

import logging

from django.core.files.storage import default_storage

from portal.intake import hooks
from portal.intake.models import SentZip, SourceFile
from portal.uploads import parts
from portal.uploads.models import Upload

logger = logging.getLogger(__name__)


def clear(*, key: str, sha256: str) -> bool:
    """Remove this content unless something names it still. Under the lock under which it is stored, too."""
    with parts.locked(sha256):
        if is_named(key):
            return False
        default_storage.delete(key)
        parts.lock_path(sha256).unlink(missing_ok=True)
    logger.info("store: %s cleared away", key)
    return True


def is_named(key: str) -> bool:
    """By a file that is kept, by an upload that is being stored right now, or by what later apps keep."""
    return (
        SourceFile.objects.filter(key=key, gone_at=None).exists()
        or SentZip.objects.filter(key=key, gone_at=None).exists()
        or Upload.objects.filter(key=key, state=Upload.State.OPEN).exists()
        or any(names(key) for names in hooks.keeps_content)
    )
