"""A real queue server for a test, started the way a demo starts its own."""

import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from portal.demo import broker

PATIENCE_S = 10


@contextmanager
def serving(data_dir: Path) -> Iterator[subprocess.Popen[bytes]]:
    socket_file = broker.socket_path(data_dir)
    server = subprocess.Popen(broker.command(data_dir, socket_file), stdout=subprocess.DEVNULL)
    give_up_at = time.monotonic() + PATIENCE_S
    while not broker.answers(socket_file):
        assert server.poll() is None
        assert time.monotonic() < give_up_at
        time.sleep(0.02)
    try:
        yield server
    finally:
        server.kill()
        server.wait()
