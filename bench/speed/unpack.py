"""A small zip of many entries with one name, beside a busy machine: how long it takes, and how long anybody waits."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path


def run(options: argparse.Namespace) -> None:
    """In a process of its own: a house has its settings from the environment when it starts."""
    with tempfile.TemporaryDirectory(prefix="unpack-", dir=options.data) as folder:
        named = {
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "KITPOST_BASE_URL": "http://localhost",
            "KITPOST_BROKER_URL": "memory://",
            "KITPOST_DATA_DIR": str(Path(folder).resolve()),
            "KITPOST_DEMO": "true",
        }
        command = [sys.executable, "-m", "bench.speed.unpack", str(options.entries)]
        subprocess.run(command, env=os.environ | named, check=True)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.unpack_job import measure

    measure(int(sys.argv[1]))
