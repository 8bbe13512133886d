"""Whether there is room for a session pack: asked before it is begun."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage

from portal.prep.errors import PrepError
from portal.sizes import size_in_words


def check_room(needed_bytes: int, *, largest_bytes: int) -> None:
    """Where the store is a folder, all of it goes there; one file at a time is made beside it."""
    reserve = settings.UPLOAD_DISK_RESERVE_BYTES
    places = {tempfile.gettempdir(): largest_bytes}
    if not settings.S3_BUCKET:
        location = default_storage.path("")
        Path(location).mkdir(parents=True, exist_ok=True)
        places[location] = needed_bytes + largest_bytes
    for place, wanted_bytes in places.items():
        free_bytes = max(0, shutil.disk_usage(place).free - reserve)
        if free_bytes < wanted_bytes:
            raise PrepError(
                f"The server has no room for this pack: it needs {size_in_words(wanted_bytes)}, and "
                f"{size_in_words(free_bytes)} can be used. Nothing was made."
            )
