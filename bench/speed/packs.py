"""Session packs over HTTP, from a folder and from an S3 store: making, download, and a download that breaks."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

from tests.object_store import PYTHON, ObjectStore, serving


def run(options: argparse.Namespace) -> None:
    """Each store in a process of its own: a house has its settings from the environment when it starts."""
    print("\nSession packs over loopback, ratios to copying the same bytes from file to file", flush=True)
    for name in ("folder", "S3"):
        if name == "S3" and not PYTHON.exists():
            print("  S3: `make s3-server` installs the server; left out")
            continue
        with tempfile.TemporaryDirectory(prefix="packs-", dir=options.data) as folder, _store(name, folder) as store:
            _measure(name, Path(folder).resolve(), store.settings if store else {}, options.minutes)


def _store(name: str, folder: str) -> AbstractContextManager[ObjectStore | None]:
    return serving(Path(folder, "s3")) if name == "S3" else nullcontext()


def _measure(name: str, folder: Path, of_store: dict[str, str], minutes: float) -> None:
    named = {
        "DJANGO_SETTINGS_MODULE": "portal.settings",
        "KITPOST_BASE_URL": "http://localhost",
        "KITPOST_BROKER_URL": "memory://",
        "KITPOST_DATA_DIR": str(folder),
        "KITPOST_DEMO": "true",
    }
    command = [sys.executable, "-m", "bench.speed.packs", name, str(minutes)]
    subprocess.run(command, env=os.environ | named | of_store, check=True)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.packs_job import measure

    measure(sys.argv[1], float(sys.argv[2]))
