"""Clients that nobody here wrote send a file while their connections, they themselves and the house are killed."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from portal.demo.processes import BASE_DIR
from tests.flows.sender import Sender
from tests.houses import processes_of, uploads_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser

CLIENTS_DIR = Path(__file__).parent / "clients"
CHUNK_BYTES = 4 * 1024**2
PIECE_BYTES = 1024**2
LINE_BYTES_PER_S = 8 * 1024**2
LOOK_EVERY_S = 0.03
PATIENCE_S = 900
STUCK_AFTER_S = 120


class SentClient(Protocol):
    def start(self) -> None: ...
    def kill(self) -> None:
        """As if its machine had lost power. Started again it goes on with the same file."""

    def is_done(self) -> bool: ...
    def close(self) -> None: ...


@dataclass
class CommandClient:
    """A client that is a process of its own: killed with -9 and started again with the address that it had said."""

    command: list[str]
    said: dict[str, Any]
    process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [*self.command, json.dumps(self.said)],
            cwd=BASE_DIR,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        threading.Thread(target=self.listen, args=[self.process], daemon=True).start()

    def listen(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        with process.stdout:
            for line in process.stdout:
                self.said["uploadUrl"] = line.strip()

    def kill(self) -> None:
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def is_done(self) -> bool:
        assert self.process is not None
        if self.process.poll() not in (None, 0):
            self.start()  # it gave up: its person starts it again
        return self.process.poll() == 0

    def close(self) -> None:
        if self.process is not None:
            self.kill()


class BrowserClient:
    """tus-js-client on a page of the house in Chromium: a reload, and the same file chosen again."""

    START = """async (said) => {
      await import("kitpost/tus");
      const file = document.querySelector("#sent").files[0];
      const upload = new window.tus.Upload(file, {
        ...said, retryDelays: Array(200).fill(300), removeFingerprintOnSuccess: false,
        onSuccess: () => { window.sentState = "done"; }, onError: (error) => { window.sentState = `failed: ${error}`; },
      });
      const [earlier] = await upload.findPreviousUploads();
      if (earlier) upload.resumeFromPreviousUpload(earlier);
      upload.start();
    }"""
    CHOOSE = """() => { const input = document.createElement("input"); input.type = "file"; input.id = "sent";
      document.body.append(input); }"""

    def __init__(self, house: Mapping[str, Any], said: dict[str, Any], browser: Browser) -> None:
        self.said, self.address = said, house["song"]
        context = browser.new_context()
        cookies = dict(pair.split("=", 1) for pair in said["headers"]["Cookie"].split("; "))
        context.add_cookies([{"name": name, "value": value, "url": house["url"]} for name, value in cookies.items()])
        self.page = context.new_page()
        # Else all may be sent before a busy machine comes to the first blow.
        self.line = context.new_cdp_session(self.page)
        conditions = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": LINE_BYTES_PER_S}
        self.line.send("Network.emulateNetworkConditions", conditions)

    def start(self) -> None:
        """The house may be down at this moment, or go down while the page's scripts come: as for anybody, once more."""
        give_up_at = time.monotonic() + STUCK_AFTER_S
        while True:
            try:
                self.choose()
                return
            except Exception:
                if time.monotonic() > give_up_at:
                    raise
                time.sleep(0.3)

    def choose(self) -> None:
        self.page.goto(self.address)
        self.page.evaluate(self.CHOOSE)
        self.page.set_input_files("#sent", self.said["path"])
        token = {"X-CSRFToken": self.said["headers"]["X-CSRFToken"]}
        said = {name: self.said[name] for name in ("endpoint", "metadata", "chunkSize", "parallelUploads")}
        self.page.evaluate(self.START, said | {"headers": token})

    def kill(self) -> None:
        self.page.goto("about:blank")

    def is_done(self) -> bool:
        state = self.page.evaluate("window.sentState")
        if state and state.startswith("failed"):
            self.start()
        return bool(state == "done")

    def close(self) -> None:
        self.page.context.close()


def make_client(
    name: str, house: Mapping[str, Any], path: Path, *, parallel: int = 1, browser: Browser | None = None
) -> SentClient:
    """`browser` is for the client that runs in one."""
    sender = Sender(house)
    cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in sender.session.cookies)
    said = {
        "endpoint": house["tus"],
        "path": str(path),
        "headers": {"Cookie": cookies, "X-CSRFToken": sender.token},
        "metadata": {"filename": path.name, "purpose": "source", "target": house["song"].rstrip("/").rsplit("/", 1)[1]},
        "chunkSize": CHUNK_BYTES,
        "parallelUploads": parallel,
    }
    if browser is not None:
        return BrowserClient(house, said, browser)
    commands = {
        "node": [node_program(), str(CLIENTS_DIR / "send.cjs")],
        "tuspy": [sys.executable, str(CLIENTS_DIR / "send_tuspy.py")],
    }
    return CommandClient(commands[name], said)


def node_program() -> str:
    """The machine's own Node.js, else the one in this environment."""
    program = shutil.which("node", path=f"{os.environ['PATH']}{os.pathsep}{Path(sys.executable).parent}")
    assert program is not None, "no Node.js: `make venv` installs it"
    return program


def make_file(path: Path, size_bytes: int, *, seed: int) -> Path:
    """Bytes that repeat nowhere, so that a piece in the wrong place is noticed."""
    source, left = random.Random(seed), size_bytes  # noqa: S311  no secret is made of it
    with path.open("wb") as file:
        while left > 0:
            file.write(source.randbytes(min(PIECE_BYTES, left)))
            left -= PIECE_BYTES
    return path


def kill_web(data_dir: Path, chance: random.Random) -> None:
    """The web processes alone, or their master as well, with -9."""
    lines = {pid: line for pid, line in processes_of(data_dir).items() if "gunicorn" in line}
    master = next(iter(lines), 0)
    for pid in reversed(lines):
        if pid != master or chance.random() < 0.5:
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue


def interrupt(client: SentClient, data_dir: Path, size_bytes: int, *, times: int, seed: int) -> dict[str, int]:
    """Start the client, and strike each time that the upload has passed a random place, until it is received."""
    chance = random.Random(seed)  # noqa: S311
    places = sorted(chance.sample(range(1, size_bytes), times))
    struck = {"house": 0, "client": 0}
    client.start()
    give_up_at = time.monotonic() + PATIENCE_S
    while not client.is_done():
        assert time.monotonic() < give_up_at, f"not received; struck {struck}"
        if places and offset_of(data_dir) >= places[0]:
            places.pop(0)
            whom = chance.choice(sorted(struck))
            struck[whom] += 1
            if whom == "house":
                kill_web(data_dir, chance)
            else:
                client.kill()
                client.start()
        time.sleep(LOOK_EVERY_S)
    return struck


def offset_of(data_dir: Path) -> int:
    """Of the upload that is under way."""
    return max((offset for offset, state, _ in uploads_of(data_dir) if state == "open"), default=0)


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def check_received(data_dir: Path, path: Path, stored_hash: Callable[[str], str], *, uploads: int = 1) -> None:
    """So many uploads were received, and this file is one of them; its stored bytes have its hash."""
    expected = sha256_of(path)
    key = f"originals/{expected[:2]}/{expected}"
    received = [key for _, state, key in uploads_of(data_dir) if state == "received"]
    assert len(received) == uploads
    assert received.count(key) == 1
    assert stored_hash(key) == expected
