"""Contents of prepared files in the store: kept and cleared under the lock of their hash."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage

from portal.intake.models import ApprovedMap
from portal.prep.models import PreparedFile
from portal.uploads import originals, parts


def keep(approved: ApprovedMap, kind: PreparedFile.Kind, path: Path, *, facts: dict[str, Any], name: str) -> None:
    size_bytes = path.stat().st_size
    sha256 = originals.hash_part(path)
    key = f"prepared/{sha256[:2]}/{sha256}"
    fields = {"name": name, "key": key, "size_bytes": size_bytes, "facts": facts}
    with parts.locked(sha256):
        originals.store(path, key=key, sha256=sha256)
        PreparedFile.objects.update_or_create(approved_map=approved, kind=kind, defaults=fields)


def clear_unnamed(keys: list[str]) -> None:
    """Remove contents that no prepared file names any more. Under the lock under which they are stored, too."""
    for key in keys:
        with parts.locked(key.rpartition("/")[2]):
            if not PreparedFile.objects.filter(key=key).exists():
                default_storage.delete(key)
