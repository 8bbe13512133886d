"""What `deploy/start-web` starts: programs in the places of Python and gunicorn say how they were called."""

import os
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(("said", "bound"), [({}, "127.0.0.1:8000"), ({"WEB_BIND": "0.0.0.0:8000"}, "0.0.0.0:8000")])
def test_this_machine_alone_may_connect_unless_the_owner_says_otherwise(
    tmp_path: Path, said: dict[str, str], bound: str
) -> None:
    for name in ("python", "gunicorn"):
        (tmp_path / name).write_text(f'#!/bin/sh\necho {name} "$@"\n')
        (tmp_path / name).chmod(0o755)
    environment = {"PATH": f"{tmp_path}:{os.environ['PATH']}", **said}

    ran = subprocess.run(
        ["sh", "deploy/start-web"], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )

    *first, last = ran.stdout.splitlines()
    assert first == [
        "python manage.py check --deploy --fail-level ERROR",
        "python manage.py migrate --no-input",
        "python manage.py open_store",
    ]
    assert f" --bind {bound} " in last
    assert " --worker-class portal.serving.worker.HouseWorker " in last
