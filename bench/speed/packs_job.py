"""The measuring itself, in a house of its own (`bench/speed/packs.py`)."""

from __future__ import annotations

import http.client
import os
import random
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

MIB = 1024**2
STEMS, SECONDS_A_MINUTE, RATE_HZ = 4, 60, 48_000
BREAKS, BREAKS_SEED = 24, 1
PATIENCE_S = 60.0


def measure(name: str, minutes: float) -> None:
    from portal.prep.models import SessionPack
    from portal.prep.pack_jobs import make_pack
    from portal.prep.services import ask_pack
    from tests.portal.prep.songs import make_packable, noise, store_sound

    call_command("migrate", verbosity=0, interactive=False)
    call_command("open_store", verbosity=0)
    song = make_packable(files=0)
    for number in range(STEMS):
        store_sound(song, f"stem {number}.wav", noise(minutes * SECONDS_A_MINUTE, seed=number, channels=2))
    drummer = song.booking.created_by
    began = time.perf_counter()
    pack = ask_pack(song=song, by=drummer)
    make_pack(pack.pk)
    made_s = time.perf_counter() - began
    pack = SessionPack.objects.get(pk=pack.pk)
    assert pack.state == SessionPack.State.MADE, pack.trouble
    browser = Client()
    browser.force_login(drummer)
    cookie = f"sessionid={browser.cookies['sessionid'].value}"
    with serving() as port:
        download = Download(port, reverse("prep:zip", args=[pack.pk]), cookie)
        whole_s, whole = timed_whole(download)
        broken_s, broken = timed_broken(download, len(whole))
    copy_s = timed_copy(whole)
    differing = int(np.count_nonzero(np.frombuffer(whole, np.uint8) != np.frombuffer(broken, np.uint8)))
    print(f"  {name}: {STEMS} stereo stems of {minutes:g} min at 48/24, a zip of {len(whole) / MIB:.0f} MiB")
    print(f"    made                      {made_s / copy_s:8.1f}")
    print(f"    downloaded                {whole_s / copy_s:8.1f}   {len(whole) / MIB / whole_s:.0f} MiB/s")
    print(f"    broken {BREAKS} times, resumed {broken_s / copy_s:9.1f}   {differing} of {len(whole)} bytes differ")


class Download:
    """One address, from any byte on."""

    def __init__(self, port: int, address: str, cookie: str) -> None:
        self.port, self.address, self.cookie = port, address, cookie
        self.tag = ""

    def read(self, start: int = 0, stop: int | None = None) -> bytearray:
        """From byte `start`; the line breaks at `stop`."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        headers = {"Cookie": self.cookie} | ({"Range": f"bytes={start}-", "If-Range": self.tag} if start else {})
        connection.request("GET", self.address, headers=headers)
        answer = connection.getresponse()
        assert answer.status == (206 if start else 200), answer.status
        self.tag = answer.headers["ETag"]
        got = bytearray()
        while (stop is None or start + len(got) < stop) and (piece := answer.read(MIB)):
            got += piece
        connection.close()
        return got if stop is None else got[: stop - start]


def timed_whole(download: Download) -> tuple[float, bytearray]:
    began = time.perf_counter()
    whole = download.read()
    return time.perf_counter() - began, whole


def timed_broken(download: Download, length: int) -> tuple[float, bytearray]:
    """Broken at places that are no place of anything, and gone on with at the byte after the last."""
    places = [*sorted(random.Random(BREAKS_SEED).sample(range(1, length), BREAKS)), None]  # noqa: S311
    began, got = time.perf_counter(), bytearray()
    for place in places:
        got += download.read(len(got), place)
    return time.perf_counter() - began, got


def timed_copy(content: bytearray) -> float:
    """The floor: from one file to another, a MiB at a time."""
    one, other = Path(settings.DATA_DIR, "one"), Path(settings.DATA_DIR, "other")
    one.write_bytes(content)
    began = time.perf_counter()
    with one.open("rb") as source, other.open("wb") as target:
        while piece := source.read(MIB):
            target.write(piece)
        os.fsync(target.fileno())
    return time.perf_counter() - began


@contextmanager
def serving() -> Iterator[int]:
    """The web process, as in production."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    command = [
        *(sys.executable, "-m", "gunicorn", "portal.wsgi:application", "--bind", f"127.0.0.1:{port}"),
        *("--worker-class", "portal.serving.worker.HouseWorker", "--workers", "1", "--threads", "8"),
        *("--no-control-socket", "--log-level", "warning"),
    ]
    process = subprocess.Popen(command)
    try:
        wait_for(port)
        yield port
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait()


def wait_for(port: int) -> None:
    give_up_at = time.monotonic() + PATIENCE_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            return
        except OSError:
            assert time.monotonic() < give_up_at, "the web process did not start"
            time.sleep(0.05)
