"""Worker and web killed with -9 while a session pack is made: nothing half-made is offered, and then it is whole."""

import io
import json
import os
import signal
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import requests

from tests.flows.course import Material
from tests.flows.sender import Sender
from tests.flows.test_kills import ask, is_reported, send_whole, song_id, wait_for
from tests.houses import demo, needs_proc, processes_of, status_of
from tests.proof.pack import prove

MAP = {"bar_one_s": 0.5, "segments": [{"bar": 1, "time_s": 0.5, "bpm": 112.3, "meter": "4/4"}]}
STATE = "SELECT state, files_done FROM prep_sessionpack WHERE song_id = ?"


def approve(data_dir: Path, song: int) -> None:
    """As the drummer does on the song's sheet; any map will do here."""
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database, database:
        drummer = database.execute("SELECT id FROM people_user WHERE role = 'drummer'").fetchone()[0]
        database.execute(
            "INSERT INTO intake_approvedmap (song_id, version, origin, map, approved_by_id, approved_at, note) "
            "VALUES (?, 1, 'measured', ?, ?, datetime('now'), '')",
            (song, json.dumps(MAP), drummer),
        )


def post(sender: Sender, address: str) -> requests.Response:
    data = {"csrfmiddlewaretoken": sender.token}
    return sender.session.post(address, data=data, headers={"Referer": sender.house["url"]}, timeout=30)


def kill(data_dir: Path) -> None:
    """The worker and the web, all their processes, with -9."""
    for pid, line in processes_of(data_dir).items():
        if "celery -A portal worker" in line or "gunicorn" in line:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue


@needs_proc
def test_worker_and_web_killed_in_the_making_of_a_pack(house_dir: Path, material: Material, tmp_path: Path) -> None:
    with demo(house_dir) as (_, house):
        client, song = Sender(house), song_id(house["song"])
        for path in material.stems:
            send_whole(client, path, song)
        wait_for(lambda: is_reported(house_dir, song))
        approve(house_dir, song)
        drummer = Sender(house, who="drummer")
        assert post(drummer, f"{house['url']}/songs/{song}/session-pack/").ok
        wait_for(lambda: [done for _, done in ask(house_dir, STATE, song)] not in ([], [0]))
        assert [state for state, _ in ask(house_dir, STATE, song)] == ["making"]
        kill(house_dir)
        pack = ask(house_dir, "SELECT id FROM prep_sessionpack WHERE song_id = ?", song)[0][0]
        address = f"{house['url']}/session-packs/{pack}/zip/"
        wait_for(lambda: status_of(f"{house['url']}/healthz") == 200)
        wait_for(lambda: [state for state, _ in ask(house_dir, STATE, song)] == ["made"])

        whole = drummer.session.get(address, timeout=60).content
        half = drummer.session.get(address, headers={"Range": f"bytes={len(whole) // 2}-"}, timeout=60)
        assert half.status_code == requests.codes.partial_content
        assert half.content == whole[len(whole) // 2 :]
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        packed.extractall(tmp_path / "pack")
    root = next((tmp_path / "pack").rglob("SHA256SUMS")).parent
    assert [(check, sentence) for check, passed, sentence in prove(root) if not passed] == []
