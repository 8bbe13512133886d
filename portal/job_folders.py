"""The folders that jobs work in. One that was killed leaves its folder behind: that goes after a day."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from pathlib import Path

from analysis.sandbox import FOLDER_PREFIX

_LEFT_AFTER_S = 24 * 3_600  # house choice: no job takes as long


def job_folder() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix=FOLDER_PREFIX)


def clear_left_folders() -> None:
    for folder in Path(tempfile.gettempdir()).glob(f"{FOLDER_PREFIX}*"):
        found = folder.lstat()
        if found.st_uid == os.getuid() and found.st_mtime < time.time() - _LEFT_AFTER_S:
            shutil.rmtree(folder, ignore_errors=True)
