from __future__ import annotations

from pathlib import Path

import pytest
from pytest_django.fixtures import Settings


@pytest.fixture(autouse=True)
def folders(settings: Settings, tmp_path: Path) -> None:
    """Each test has its own upload folder and store."""
    settings.UPLOAD_DIR = tmp_path / "uploads"
    settings.UPLOAD_DISK_RESERVE_BYTES = 0
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "portal.storage.FolderStorage", "OPTIONS": {"location": str(tmp_path / "store")}},
    }
