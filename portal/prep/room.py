"""Whether there is room for a session pack: asked before it is begun, and when a file could not be written."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage

from portal.prep.errors import PrepError
from portal.sizes import size_in_words


def check_room(needed_bytes: int, *, largest_bytes: int) -> None:
    """Raises PrepError with a sentence where a pack, whose largest file is so large, does not fit."""
    for wanted_bytes, free_bytes in _wanted_and_free(needed_bytes, largest_bytes):
        if free_bytes < wanted_bytes:
            raise PrepError(
                f"The server has no room for this pack: it needs {size_in_words(wanted_bytes)}, and "
                f"{size_in_words(free_bytes)} can be used. Nothing was made."
            )


def is_full(*, largest_bytes: int) -> bool:
    """Whether there is no room for a file of this size."""
    return any(free_bytes < wanted_bytes for wanted_bytes, free_bytes in _wanted_and_free(0, largest_bytes))


def _wanted_and_free(needed_bytes: int, largest_bytes: int) -> Iterator[tuple[int, int]]:
    """Where the store is a folder, all of it goes there; one file at a time is made beside it."""
    places = {tempfile.gettempdir(): largest_bytes}
    if not settings.S3_BUCKET:
        location = default_storage.path("")
        Path(location).mkdir(parents=True, exist_ok=True)
        places[location] = needed_bytes + largest_bytes
    for place, wanted_bytes in places.items():
        yield wanted_bytes, max(0, shutil.disk_usage(place).free - settings.UPLOAD_DISK_RESERVE_BYTES)
