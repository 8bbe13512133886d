"""Processes that die at the worst moment: the song still reaches its report, and reaches it once."""

import os
import signal
import sqlite3
import time
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from tests.flows.course import Material
from tests.flows.sender import Sender
from tests.houses import OpenHouse, needs_proc, pid_of, processes_of

# A worker that was killed hands its job back within the queue's patience; then the song is measured.
REPORT_WITHIN_S = 240
# Some seconds of a worker's time, though it packs to next to nothing.
LONG_TO_UNPACK_BYTES = 500 * 2**20


def ask(data_dir: Path, question: str, song: int) -> list[tuple[object, ...]]:
    """The rows that answer a question with one `?` in it: the song's key."""
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database:
        return database.execute(question, [song]).fetchall()


def wait_for(happens: Callable[[], bool], *, within_s: float = REPORT_WITHIN_S) -> None:
    give_up_at = time.monotonic() + within_s
    while not happens():
        assert time.monotonic() < give_up_at, "it never happened"
        time.sleep(0.1)


def send_whole(sender: Sender, path: Path, song: int) -> None:
    sender.send(sender.begin(path, purpose="source", target=song), path.read_bytes(), offset=0)


def statuses(data_dir: Path, song: int) -> list[str]:
    return [str(row[0]) for row in ask(data_dir, "SELECT status FROM intake_sourcefile WHERE song_id = ?", song)]


def is_reported(data_dir: Path, song: int) -> bool:
    return ask(data_dir, "SELECT stage FROM bookings_song WHERE id = ?", song)[0][0] in ("with-client", "on-desk")


def check_reported_once(data_dir: Path, song: int, files: int) -> None:
    """Each file once and measured, one report of the whole song, one question to the client, one letter about it."""
    assert statuses(data_dir, song) == ["surveyed"] * files
    done = "SELECT count(*) FROM intake_songcheck WHERE song_id = ? AND made_at IS NOT NULL"
    assert ask(data_dir, done, song) == [(1,)]
    assert ask(data_dir, "SELECT count(*) FROM mailroom_message WHERE song_id = ?", song) == [(1,)]
    letters = "SELECT count(*) FROM mailroom_mail JOIN mailroom_message m ON m.id = message_id WHERE m.song_id = ?"
    assert ask(data_dir, letters, song) == [(1,)]


@needs_proc
def test_a_worker_killed_in_mid_survey_loses_nothing_and_doubles_nothing(
    struck_house: OpenHouse, material: Material
) -> None:
    stems, data_dir = material.stems, struck_house.data_dir
    _, song = struck_house.add_song("Crooked Shovel And Lentils")
    for path in stems:
        send_whole(struck_house.sender("client"), path, song)
    wait_for(lambda: "surveyed" in statuses(data_dir, song))
    assert "received" in statuses(data_dir, song)
    os.kill(pid_of(data_dir, "celery -A portal worker"), signal.SIGKILL)
    wait_for(lambda: is_reported(data_dir, song))
    check_reported_once(data_dir, song, len(stems))


@needs_proc
def test_a_house_killed_in_mid_upload_goes_on_where_it_was(struck_house: OpenHouse, material: Material) -> None:
    stem, data_dir = material.stems[0], struck_house.data_dir
    content = stem.read_bytes()
    _, song = struck_house.add_song("Half A Bucket Upstairs")
    sender = struck_house.sender("client")
    upload = sender.begin(stem, purpose="source", target=song)
    came = sender.send(upload, content[: len(content) // 2], offset=0)
    struck_house.kill()
    wait_for(lambda: processes_of(data_dir) == {})

    struck_house.open()
    sender = struck_house.sender("client")
    assert sender.offset(upload) == came == len(content) // 2
    assert sender.send(upload, content[came:], offset=came) == len(content)
    wait_for(lambda: is_reported(data_dir, song))
    check_reported_once(data_dir, song, files=1)
    kept = ask(data_dir, "SELECT key FROM intake_sourcefile WHERE song_id = ?", song)
    assert (data_dir / "store" / str(kept[0][0])).read_bytes() == content


@needs_proc
def test_a_worker_killed_in_mid_unpacking_makes_no_double_files(
    struck_house: OpenHouse, material: Material, tmp_path: Path
) -> None:
    stems, data_dir = material.stems, struck_house.data_dir
    path = tmp_path / "stems.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
        for stem in stems:
            packed.write(stem, stem.name)
        packed.writestr("empty.bin", bytes(LONG_TO_UNPACK_BYTES))
    _, song = struck_house.add_song("Seven Corks Before Ironing")
    send_whole(struck_house.sender("client"), path, song)
    zips = "SELECT state, tries FROM intake_sentzip WHERE song_id = ?"
    wait_for(lambda: ask(data_dir, zips, song) == [("received", 1)])
    os.kill(pid_of(data_dir, "celery -A portal worker"), signal.SIGKILL)
    assert ask(data_dir, zips, song) == [("received", 1)]
    wait_for(lambda: is_reported(data_dir, song))
    assert ask(data_dir, zips, song) == [("unpacked", 2)]
    names = ask(data_dir, "SELECT name FROM intake_sourcefile WHERE song_id = ?", song)
    assert sorted(str(name) for (name,) in names) == sorted([*(stem.name for stem in stems), "empty.bin"])
    assert sorted(statuses(data_dir, song)) == ["refused"] + ["surveyed"] * len(stems)
    assert not list((data_dir / "uploads").glob("zip*"))
