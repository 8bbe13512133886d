"""How fast and at what memory the house takes a file, as ratios to a bare copy and to a general server, in one run."""

from __future__ import annotations

import http.client
import importlib.util
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tests.flows.sender import Sender
from tests.houses import demo, processes_of

MIB = 1024**2
CHUNK_BYTES = 8 * MIB
READ_BYTES = 256 * 1024
AT_ONCE = 8
LOOK_EVERY_S = 0.02
BYTES_TYPE = {"Tus-Resumable": "1.0.0", "Content-Type": "application/offset+octet-stream"}


def run(path: Path, folder: Path) -> None:
    mib = path.stat().st_size / MIB
    print(f"\nUploads: {mib:.0f} MiB over loopback, all in this run; MiB/s, ratio to the bare copy, peak resident MiB")
    copy_s = timed(lambda: bare_copy(path, folder / "copy"))
    (folder / "copy").unlink()
    told("bare copy, synced", mib, copy_s, copy_s, None)
    with demo(folder / "house") as (_, house):
        sender = Sender(house)
        for name, chunk in (("the house, chunks of 8 MiB", CHUNK_BYTES), ("the house, one chunk", None)):
            with Memory(folder / "house") as memory:
                took_s = timed(lambda chunk=chunk: send(sender, path, chunk))  # type: ignore[misc]
            told(name, mib, took_s, copy_s, memory.most_mib)
        with Memory(folder / "house") as memory:
            took_s = timed(lambda: send_at_once(sender, path))
        told(f"the house, {AT_ONCE} at once", mib, took_s, copy_s, memory.most_mib)
    general_server(path, folder, mib, copy_s)


def told(name: str, mib: float, took_s: float, copy_s: float, peak_mib: float | None) -> None:
    peak = "" if peak_mib is None else f"{peak_mib:8.0f}"
    print(f"  {name:<34}{mib / took_s:8.0f}{copy_s / took_s:8.2f}{peak}", flush=True)


def timed(job: Callable[[], None]) -> float:
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def bare_copy(path: Path, to: Path) -> None:
    with path.open("rb") as source, to.open("wb") as target:
        while piece := source.read(MIB):
            target.write(piece)
        target.flush()
        os.fsync(target.fileno())


class Memory:
    """The most that one web process of the house held, watched while it takes files."""

    def __init__(self, data_dir: Path) -> None:
        self.pids = [pid for pid, line in processes_of(data_dir).items() if "gunicorn" in line]
        self.most_mib, self.ended = 0.0, threading.Event()

    def __enter__(self) -> Memory:
        self.thread = threading.Thread(target=self.watch)
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.ended.set()
        self.thread.join()

    def watch(self) -> None:
        while not self.ended.wait(LOOK_EVERY_S):
            self.most_mib = max([self.most_mib, *(resident_mib(pid) for pid in self.pids)])


def resident_mib(pid: int) -> float:
    status = Path(f"/proc/{pid}/status")
    lines = status.read_text().splitlines() if status.exists() else []
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS")), 0.0)


def send(sender: Sender, path: Path, chunk: int | None, start: int = 0, length: int | None = None) -> None:
    """A stretch of the file as one upload, in chunks, or as one request without a limit."""
    house = sender.house
    length = path.stat().st_size - start if length is None else length
    upload = sender.begin(path, purpose="source", target=int(house["song"].rstrip("/").rsplit("/", 1)[1]), size=length)
    with path.open("rb") as file:
        cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in sender.session.cookies)
        headers = BYTES_TYPE | {"Cookie": cookies, "X-CSRFToken": sender.token}
        patch_all(house["url"], urlsplit(upload).path, headers, file, start, length, chunk or length)


def patch_all(url: str, upload: str, headers: dict[str, str], file: Any, start: int, length: int, chunk: int) -> None:
    host = urlsplit(url)
    connection = http.client.HTTPConnection(str(host.hostname), host.port, blocksize=READ_BYTES)
    for offset in range(0, length, chunk):
        file.seek(start + offset)
        size = min(chunk, length - offset)
        said = headers | {"Upload-Offset": str(offset), "Content-Length": str(size)}
        connection.request("PATCH", upload, body=pieces(file, size), headers=said)
        answer = connection.getresponse()
        assert answer.status == http.client.NO_CONTENT, answer.read()
        answer.read()
    connection.close()


def pieces(file: Any, left: int) -> Any:
    while left > 0:
        piece = file.read(min(READ_BYTES, left))
        left -= len(piece)
        yield piece


def send_at_once(sender: Sender, path: Path) -> None:
    """Eighths of the file beside each other: no two of them are alike."""
    length = path.stat().st_size // AT_ONCE
    threads = [
        threading.Thread(target=send, args=[sender, path, CHUNK_BYTES, index * length, length])
        for index in range(AT_ONCE)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


SERVER = """
import sys
from http.server import ThreadingHTTPServer
from resumable_upload import SQLiteStorage, TusHTTPRequestHandler, TusServer
storage = SQLiteStorage(db_path=sys.argv[1] + "/u.db", upload_dir=sys.argv[1])
server = TusServer(storage=storage, base_path="/files", max_size=0)
class Handler(TusHTTPRequestHandler):
    tus_server = server
    protocol_version = "HTTP/1.1"
    def log_message(self, *_): pass
door = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
print(door.server_port, flush=True)
door.serve_forever()
"""


def general_server(path: Path, folder: Path, mib: float, copy_s: float) -> None:
    """The server of the library resumable-upload, where it is installed: hashes nothing, reads nothing back."""
    if importlib.util.find_spec("resumable_upload") is None:
        print("  resumable-upload is not installed: no general server to compare with (pip install resumable-upload)")
        return
    (folder / "general").mkdir()
    command = [sys.executable, "-c", SERVER, str(folder / "general")]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        url = f"http://127.0.0.1:{int(process.stdout.readline())}"
        for name, chunk in (("general, chunks of 8 MiB", CHUNK_BYTES), ("general, one chunk", None)):
            took_s = timed(lambda chunk=chunk: send_general(url, path, chunk))  # type: ignore[misc]
            told(f"resumable-upload, {name.split(', ')[1]}", mib, took_s, copy_s, resident_peak_mib(process.pid))
    finally:
        process.kill()
        process.communicate()


def resident_peak_mib(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


def send_general(url: str, path: Path, chunk: int | None) -> None:
    host, size = urlsplit(url), path.stat().st_size
    connection = http.client.HTTPConnection(str(host.hostname), host.port)
    connection.request("POST", "/files", headers={"Tus-Resumable": "1.0.0", "Upload-Length": str(size)})
    answer = connection.getresponse()
    answer.read()
    upload = urlsplit(answer.headers["Location"]).path
    with path.open("rb") as file:
        patch_all(url, upload, BYTES_TYPE, file, 0, size, chunk or size)
