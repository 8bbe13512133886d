"""How long mail, a small file and a long one wait beside one booking's many tiny files: real queue, real workers."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from portal.demo import broker


def run(options: argparse.Namespace) -> None:
    """In a process of its own: a house has its settings from the environment when it starts."""
    with tempfile.TemporaryDirectory(prefix="queues-", dir=options.data) as folder:
        data_dir = Path(folder).resolve()
        socket_file = broker.socket_path(data_dir)
        named = {
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "KITPOST_BASE_URL": "http://localhost",
            "KITPOST_BROKER_URL": broker.broker_url(socket_file),
            "KITPOST_DATA_DIR": str(data_dir),
            "KITPOST_DEMO": "true",
        }
        command = [sys.executable, "-m", "bench.speed.queues", str(options.tiny_files), str(data_dir), str(socket_file)]
        subprocess.run(command, env=os.environ | named, check=True)


if __name__ == "__main__":
    import django

    django.setup()

    from bench.speed.queues_job import measure

    measure(int(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3]))
