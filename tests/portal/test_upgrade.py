"""A house of November 2026 is opened by this version: no row is lost, all that was stored is read, every page opens.

The archive holds the database of a demo house, as SQL, after a whole course of work, and a few small files of its
store. It stays as it is: where a later version stores something differently, its migrations change it.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

HOUSE = Path(__file__).parent / "data" / "house-2026-11.zip"
# Fewer would be a house that was not opened.
LEAST_PAGES = 500


def open_house(folder: Path) -> dict[str, Any]:
    """What a process of its own found, with its own SQLite database, whatever database the other tests have."""
    inherited = {name: value for name, value in os.environ.items() if not name.startswith(("KITPOST_", "DJANGO_"))}
    named = {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "KITPOST_BROKER_URL": "memory://",
        "KITPOST_DATA_DIR": str(folder),
        "KITPOST_DEMO": "true",
    }
    command = [sys.executable, "-m", "tests.old_house", str(HOUSE), str(folder)]
    run = subprocess.run(command, env=inherited | named, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr[-4_000:]
    found: dict[str, Any] = json.loads(run.stdout)
    return found


def test_a_house_of_an_earlier_version_is_opened_whole(tmp_path: Path) -> None:
    found = open_house(tmp_path)

    before = found["rows_before"]
    assert min(before.values()) > 0
    assert {name: found["rows"].get(name) for name in before} == before

    assert found["unreadable"] == []
    assert found["unread_fields"] == []  # a new one says in `old_house` how it is read

    assert found["wrong"] == []
    assert found["never_opened"] == []
    assert found["asked"] > LEAST_PAGES
