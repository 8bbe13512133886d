"""The folders that jobs work in. One that was killed leaves its folder behind: that goes after a day."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from pathlib import Path

# Hidden, and unlike any name that a person gives a folder: what is old under this name is removed.
PREFIX = ".kitpost-job-"
_LEFT_AFTER_S = 24 * 3_600  # house choice: no job takes as long


def job_folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix=PREFIX)


def clear_left_folders() -> None:
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        found = folder.lstat()
        if found.st_uid == os.getuid() and found.st_mtime < time.time() - _LEFT_AFTER_S:
            shutil.rmtree(folder, ignore_errors=True)
