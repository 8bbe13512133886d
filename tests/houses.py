"""The whole demo started as a person starts it: every part is a real process, and may be killed."""

import fcntl
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from portal.demo.processes import BASE_DIR
from tests.flows.sender import Sender
from tests.portal.demo.waiting import until

FILES = "SELECT count(*) FROM intake_sourcefile"
SETTLED_WITHIN_S = 300
SAID_WHEN_NEW = "said-when-new.json"
needs_proc = pytest.mark.skipif(sys.platform != "linux", reason="looks at processes through /proc")


def start(data_dir: Path, *more: str, settings: Mapping[str, str] | None = None) -> subprocess.Popen[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("KITPOST_", "DJANGO_"))}
    return subprocess.Popen(
        [sys.executable, "manage.py", "demo", "--data", str(data_dir), "--port", "0", *more],
        cwd=BASE_DIR,
        env=environment | dict(settings or {}),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


class OpenHouse:
    """A small house: measuring the songs that are further on would only take time.

    `said` is what it printed. Tests that share it bring songs of their own, and leave it open.
    """

    def __init__(self, data_dir: Path, settings: Mapping[str, str] | None = None) -> None:
        self.data_dir, self.settings = data_dir, settings

    def open(self) -> None:
        """The first time, or again after it was killed: at another port."""
        self.process = start(self.data_dir, "--small", "--json", settings=self.settings)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, self.process.communicate()[1]
        self.said: Mapping[str, Any] = json.loads(line)
        self.senders: dict[str, Sender] = {}

    def kill(self) -> None:
        self.process.kill()
        self.process.communicate()

    def sender(self, who: str) -> Sender:
        """Somebody at a command line, who signs in once."""
        if who not in self.senders:
            self.senders[who] = Sender(self.said, who=who)
        return self.senders[who]

    def add_song(self, title: str) -> tuple[str, int]:
        """The drummer adds a song to the booking that is at work; the address and the key of the song, which waits
        for its files."""
        added = self.sender("drummer").post(f"{self.said['booking']}songs/", title=title)
        assert added.ok
        with closing(sqlite3.connect(self.data_dir / "kitpost.sqlite3", timeout=30)) as database:
            ((key,),) = database.execute("SELECT id FROM bookings_song WHERE title = ?", [title]).fetchall()
        return f"{self.said['url']}/songs/{key}/", int(key)


@contextmanager
def opened(data_dir: Path, settings: Mapping[str, str] | None = None) -> Iterator[OpenHouse]:
    house = OpenHouse(data_dir, settings)
    try:
        house.open()
        yield house
    finally:
        house.kill()


@contextmanager
def demo(
    data_dir: Path, settings: Mapping[str, str] | None = None
) -> Iterator[tuple[subprocess.Popen[str], Mapping[str, Any]]]:
    """The process of a house, and what it printed."""
    with opened(data_dir, settings) as house:
        yield house.process, house.said


def processes_of(data_dir: Path) -> dict[int, str]:
    """The command line of every living part and its children, the oldest first: who was told of this folder, or names
    it in its title."""
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            line = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            told = f"KITPOST_DATA_DIR={data_dir}\0".encode() in (folder / "environ").read_bytes()
            age = started_at(folder)
        except OSError:
            continue
        if line and "manage.py demo" not in line and (told or str(data_dir) in line):
            found[age, int(folder.name)] = line
    return {pid: line for (_, pid), line in sorted(found.items())}


def started_at(folder: Path) -> int:
    """In ticks since the machine started: field 22 of /proc/PID/stat (proc(5)). Its number does not tell: numbers
    begin again at 32,768."""
    return int((folder / "stat").read_text().rpartition(")")[2].split()[19])


def pid_of(data_dir: Path, words: str) -> int:
    """The oldest process whose command line has these words: a part, not its children."""
    return next(pid for pid, line in processes_of(data_dir).items() if words in line)


def status_of(address: str) -> int:
    try:
        with urllib.request.urlopen(address, timeout=10) as answer:  # noqa: S310  our own http address
            return int(answer.status)
    except OSError:
        return 0


def is_whole(data_dir: Path) -> bool:
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3")) as database:
        return bool(database.execute("PRAGMA integrity_check").fetchone()[0] == "ok")


def uploads_of(data_dir: Path) -> list[tuple[int, str, str]]:
    """Offset, state and key of each upload that the demo did not bring itself."""
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database:
        return database.execute(
            "SELECT offset_bytes, state, key FROM uploads_upload WHERE metadata != '' AND concat != 'partial'"
        ).fetchall()


def made_once(folder: Path, make: Callable[[Path], object]) -> Path:
    """The folder, filled by who asks first; the others wait for that, and all only read it."""
    unfinished = folder.with_name(f"{folder.name}-unfinished")
    with folder.with_name(f"{folder.name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            shutil.rmtree(unfinished, ignore_errors=True)
            unfinished.mkdir()
            make(unfinished)
            unfinished.rename(folder)
    return folder


def settle(data_dir: Path) -> None:
    """A house that was opened in an empty folder, as a person opens one, whose people's files are all measured, and
    which is closed. What it printed when it was new is kept in the folder."""
    with demo(data_dir) as (process, said):
        (data_dir / SAID_WHEN_NEW).write_text(json.dumps(said))
        assert status_of(f"{said['url']}/sign-in/") == 200
        assert status_of(f"{said['url']}/static/vendor/tus/tus.min.js") == 200
        until(lambda: is_settled(data_dir), within_s=SETTLED_WITHIN_S)
        process.send_signal(signal.SIGINT)
        assert process.wait(SETTLED_WITHIN_S) == 0


def is_settled(data_dir: Path) -> bool:
    """The last thing made of a song's files is its report, and of a file its copy to play from."""
    from portal.demo.sample_bookings import SENT_SONGS

    reported = "SELECT count(*) FROM intake_songcheck WHERE made_at IS NOT NULL"
    copied = "SELECT count(*) FROM score_playcopy WHERE state = 'made'"
    with closing(sqlite3.connect(data_dir / "kitpost.sqlite3", timeout=30)) as database:
        counts: list[int] = [database.execute(question).fetchone()[0] for question in (reported, copied, FILES)]
    return counts == [len(SENT_SONGS), counts[2], counts[2]]
