"""Worker and web killed with -9 while a session pack is made, and again while a set is corrected: nothing half-made is
offered, and then it is whole."""

import io
import itertools
import json
import os
import signal
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import numpy as np
import requests
import soundfile

from tests import signals
from tests.flows.course import Material
from tests.flows.sender import Sender
from tests.flows.test_kills import ask, is_reported, send_whole, wait_for
from tests.houses import OpenHouse, needs_proc, processes_of, status_of
from tests.proof.pack import prove

MAP = {"bar_one_s": 0.5, "segments": [{"bar": 1, "time_s": 0.5, "bpm": 112.3, "meter": "4/4"}]}
STATE = "SELECT state, files_done FROM prep_sessionpack WHERE song_id = ?"

RATE_HZ, LATE = 48_000, 480
TRACKS = ("KickIn.wav", "SnTop.wav", "Hat.wav", "OHL.wav", "OHR.wav")
# As the engine says it of such a set (tests/portal/delivery/repairs/test_jobs.py has it checked).
MOVED = {"code": "lined-up", "file": None, "passed": False, "value": LATE, "limit": 1, "message": "Late."}
FACTS = {"sample_rate_hz": RATE_HZ, "bit_depth": 24, "channels": 1, "frames": 2 * RATE_HZ}
REPAIR = (
    "SELECT r.state, r.made FROM delivery_setrepair r JOIN delivery_delivery d ON d.id = delivery_id WHERE song_id = ?"
)
FILES = """SELECT name, version, key, replaced_at IS NOT NULL FROM delivery_deliveryfile f
           JOIN delivery_delivery d ON d.id = delivery_id WHERE song_id = ? ORDER BY name, version"""


def approve(data_dir: Path, song: int) -> None:
    """As the drummer does on the song's sheet; any map will do here."""
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database, database:
        drummer = database.execute("SELECT id FROM people_user WHERE role = 'drummer'").fetchone()[0]
        database.execute(
            "INSERT INTO intake_approvedmap (song_id, version, origin, map, approved_by_id, approved_at, note) "
            "VALUES (?, 1, 'measured', ?, ?, datetime('now'), '')",
            (song, json.dumps(MAP), drummer),
        )


def kill(data_dir: Path) -> None:
    """The worker and the web, all their processes, with -9."""
    for pid, line in processes_of(data_dir).items():
        if "celery -A portal worker" in line or "gunicorn" in line:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue


@needs_proc
def test_worker_and_web_killed_in_the_making_of_a_pack_and_of_a_corrected_set(
    struck_house: OpenHouse, material: Material, tmp_path: Path
) -> None:
    data_dir, url = struck_house.data_dir, struck_house.said["url"]
    client, drummer = struck_house.sender("client"), struck_house.sender("drummer")
    _, song = struck_house.add_song("Loose Gravel Near Custard")
    for path in material.stems:
        send_whole(client, path, song)
    wait_for(lambda: is_reported(data_dir, song))
    approve(data_dir, song)
    assert drummer.post(f"{url}/songs/{song}/session-pack/").ok
    wait_for(lambda: [done for _, done in ask(data_dir, STATE, song)] not in ([], [0]))
    assert [state for state, _ in ask(data_dir, STATE, song)] == ["making"]
    kill(data_dir)
    pack = ask(data_dir, "SELECT id FROM prep_sessionpack WHERE song_id = ?", song)[0][0]
    address = f"{url}/session-packs/{pack}/zip/"
    wait_for(lambda: status_of(f"{url}/healthz") == 200)
    wait_for(lambda: [state for state, _ in ask(data_dir, STATE, song)] == ["made"])

    whole = drummer.session.get(address, timeout=60).content
    half = drummer.session.get(address, headers={"Range": f"bytes={len(whole) // 2}-"}, timeout=60)
    assert half.status_code == requests.codes.partial_content
    assert half.content == whole[len(whole) // 2 :]
    check_correction_of(data_dir, drummer, song, tmp_path)
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        packed.extractall(tmp_path / "pack")
    root = next((tmp_path / "pack").rglob("SHA256SUMS")).parent
    assert [(check, sentence) for check, passed, sentence in prove(root) if not passed] == []


def check_correction_of(data_dir: Path, drummer: Sender, song: int, folder: Path) -> None:
    sent = send_tracks(data_dir, drummer, song, folder)
    page = f"{drummer.house['url']}/deliveries/{delivery_of(data_dir, song)}/"
    assert drummer.post(f"{page}repair/", repair="move").ok
    wait_for(lambda: begun(data_dir, song) != {})
    first = begun(data_dir, song)
    kill(data_dir)
    assert [state for state, _ in ask(data_dir, REPAIR, song)] == ["making"]
    assert len(first) < len(TRACKS)
    assert [(name, version) for name, version, *_ in ask(data_dir, FILES, song)] == [(name, 1) for name in sorted(sent)]
    wait_for(lambda: status_of(f"{drummer.house['url']}/healthz") == 200)
    assert "A corrected set is being made" in drummer.session.get(page, timeout=60).text
    wait_for(lambda: [state for state, _ in ask(data_dir, REPAIR, song)] == ["made"])
    assert first.items() <= begun(data_dir, song).items(), "what stood in the store is not made twice"
    check_corrected(data_dir, song, sent)
    wait_for(lambda: ask(data_dir, "SELECT state FROM delivery_delivery WHERE song_id = ?", song) == [("checked",)])
    text = drummer.session.get(page, timeout=60).text
    assert "A corrected set is being made" not in text
    for name in TRACKS:
        assert text.count(f"<li>{name} was moved {LATE} samples earlier, with the whole set.</li>") == 1


def send_tracks(data_dir: Path, drummer: Sender, song: int, folder: Path) -> dict[str, bytes]:
    """To a song that is tracked, and checked as 480 samples late: the check itself is tried elsewhere."""
    tell(data_dir, "UPDATE bookings_song SET stage = 'tracking' WHERE id = ?", song)
    assert drummer.post(f"{drummer.house['url']}/songs/{song}/deliveries/").ok
    delivery, sent = delivery_of(data_dir, song), {}
    for seed, name in enumerate(TRACKS):
        path = folder / name
        soundfile.write(path, signals.noise(duration_s=2.0, seed=seed, rms=0.05), RATE_HZ, "PCM_24")
        drummer.send(drummer.begin(path, purpose="track", target=delivery), path.read_bytes(), offset=0)
        sent[name] = path.read_bytes()
    wait_for(lambda: len(ask(data_dir, FILES, song)) == len(TRACKS))
    tell(data_dir, "UPDATE delivery_deliveryfile SET facts = ? WHERE delivery_id = ?", json.dumps(FACTS), delivery)
    checks = json.dumps([MOVED])
    tell(data_dir, "UPDATE delivery_delivery SET state = 'checked', checks = ? WHERE id = ?", checks, delivery)
    return sent


def check_corrected(data_dir: Path, song: int, sent: dict[str, bytes]) -> None:
    """Each file once, to the sample what the original has from 480 samples on; the original as it was sent."""
    rows = ask(data_dir, FILES, song)
    assert [row[:2] + row[3:] for row in rows] == [
        (name, version, int(version == 1)) for name, version in itertools.product(sorted(sent), (1, 2))
    ]
    stored = {(name, version): (data_dir / "store" / str(key)).read_bytes() for name, version, key, _ in rows}
    for name, content in sent.items():
        assert stored[name, 1] == content
        before, after = (soundfile.read(io.BytesIO(stored[name, version]), dtype="int32")[0] for version in (1, 2))
        assert np.array_equal(after, before[LATE:])
    told = "SELECT count(*) FROM bookings_timelineentry WHERE song_id = ? AND text LIKE 'corrected delivery 1:%'"
    assert ask(data_dir, told, song) == [(1,)]


def begun(data_dir: Path, song: int) -> dict[str, object]:
    """By the file's key, what stands in the store already."""
    ((_, made),) = ask(data_dir, REPAIR, song)
    return dict(json.loads(str(made)))


def delivery_of(data_dir: Path, song: int) -> int:
    ((delivery,),) = ask(data_dir, "SELECT id FROM delivery_delivery WHERE song_id = ?", song)
    return int(str(delivery))


def tell(data_dir: Path, statement: str, *values: object) -> None:
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database, database:
        database.execute(statement, values)
