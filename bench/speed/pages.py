"""The board, the desk and the search: queries and time at two thousand bookings, beside an empty house in one run."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

BOOKINGS, SONGS_OF_ONE = 2_000, 300


def run(options: argparse.Namespace) -> None:
    """In a process of its own: a house has its settings from the environment when it starts."""
    with tempfile.TemporaryDirectory(prefix="pages-", dir=options.data) as folder:
        named = {
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "KITPOST_BASE_URL": "http://localhost",
            "KITPOST_BROKER_URL": "memory://",
            "KITPOST_DATA_DIR": str(Path(folder).resolve()),
            "KITPOST_DEMO": "true",
        }
        print(f"\nPages: {BOOKINGS} bookings, one of them with {SONGS_OF_ONE} songs, beside an empty house", flush=True)
        subprocess.run([sys.executable, "-m", "bench.speed.pages"], env=os.environ | named, check=True)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.pages_job import measure

    measure(BOOKINGS, SONGS_OF_ONE)
