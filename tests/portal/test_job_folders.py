"""Of folders that killed jobs left only those go that no job can be at."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import pytest

from analysis.sandbox import FOLDER_PREFIX as PREFIX
from portal.intake import tasks
from portal.job_folders import clear_left_folders, job_folder

DAY_S = 86_400


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def left(folder: Path, name: str, *, age_s: float) -> None:
    made = folder / name
    made.mkdir()
    (made / "features.npz").write_bytes(b"x")
    os.utime(made, times=(time.time() - age_s,) * 2)


def test_what_a_killed_job_left_goes_after_a_day(folder: Path) -> None:
    for name, age_s in (("old", 1.1 * DAY_S), ("new", 0.9 * DAY_S)):
        left(folder, PREFIX + name, age_s=age_s)
    left(folder, "kitpost-demo", age_s=9 * DAY_S)
    clear_left_folders()

    assert {path.name for path in folder.iterdir()} == {f"{PREFIX}new", "kitpost-demo"}


def test_a_job_s_folder_is_one_of_them_and_goes_with_the_job(folder: Path) -> None:
    with job_folder() as made:
        assert Path(made).name.startswith(PREFIX)
    assert not list(folder.iterdir())


def test_a_link_to_elsewhere_leads_to_no_removal(folder: Path) -> None:
    left(folder, "house", age_s=9 * DAY_S)
    (folder / f"{PREFIX}link").symlink_to(folder / "house")
    os.utime(folder / f"{PREFIX}link", times=(1, 1), follow_symlinks=False)
    clear_left_folders()

    assert (folder / "house" / "features.npz").exists()


@pytest.mark.django_db
def test_it_is_looked_for_with_the_regular_upkeep(folder: Path) -> None:
    left(folder, f"{PREFIX}old", age_s=2 * DAY_S)
    tasks.keep_house()

    assert not list(folder.iterdir())
