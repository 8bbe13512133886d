"""A house of its own for one measurement, in a process of its own: a house has its settings from the environment when
it starts."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path


def run_in_own_house(module: str, *arguments: str, under: Path, broker_url: Callable[[Path], str]) -> None:
    """Runs `python -m module FOLDER ARGUMENTS`, where FOLDER is the house's, thrown away afterwards."""
    with tempfile.TemporaryDirectory(prefix="house-", dir=under) as folder:
        data_dir = Path(folder).resolve()
        named = {
            "DJANGO_SETTINGS_MODULE": "portal.settings",
            "KITPOST_BASE_URL": "http://localhost",
            "KITPOST_BROKER_URL": broker_url(data_dir),
            "KITPOST_DATA_DIR": str(data_dir),
            "KITPOST_DEMO": "true",
        }
        subprocess.run([sys.executable, "-m", module, str(data_dir), *arguments], env=os.environ | named, check=True)


def in_memory(_data_dir: Path) -> str:
    return "memory://"
