"""A house of one process: the real worker over a real socket, in a thread of the test."""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

from gunicorn.config import Config
from gunicorn.glogging import Logger

from portal.serving.limits import Limits
from portal.serving.loop import Loop
from portal.serving.worker import HouseWorker

THREADS = 2
QUICK = Limits(head_within_s=0.6, idle_s=0.6, base_s=0.6, piece_within_s=0.6, linger_s=0.3)
# Deadlines that no test outlives, however busy the machine is: what answers, answers because a thread is free.
PATIENT = replace(QUICK, head_within_s=60, base_s=60, idle_s=60, piece_within_s=60)
PATIENCE_S = 20
Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class Worker(HouseWorker):
    """Without gunicorn's parent: no signals, no heartbeat."""

    def __init__(self, listener: socket.socket, application: Application, limits: Limits) -> None:
        self.cfg = Config()
        self.cfg.set("threads", THREADS)
        self.log = Logger(self.cfg)
        self.log.error_log.setLevel(logging.CRITICAL)
        self.alive, self.limits, self.wsgi, self.listener = True, limits, application, listener
        self.pages = ThreadPoolExecutor(THREADS)
        self.long = ThreadPoolExecutor(limits.long_requests)
        self.loop = Loop([listener], limits=limits, threads=THREADS, begin=self.begin)

    def serve(self) -> None:
        while self.alive:
            self.loop.step(0.05)
        self.pages.shutdown()
        self.long.shutdown()
        self.loop.close()
        self.listener.close()


@dataclass
class House:
    worker: Worker
    port: int
    peers: list[socket.socket] = field(default_factory=list)

    def connect(self, sent: bytes = b"", *, source: str = "127.0.0.1") -> socket.socket:
        peer = socket.create_connection(("127.0.0.1", self.port), PATIENCE_S, source_address=(source, 0))
        self.peers.append(peer)
        peer.sendall(sent)
        return peer

    def ask(self, sent: bytes, *, source: str = "127.0.0.1") -> bytes:
        """Everything that comes until the house closes the connection."""
        return read_to_end(self.connect(sent, source=source))


def read_to_end(peer: socket.socket) -> bytes:
    received = bytearray()
    while piece := peer.recv(65_536):
        received += piece
    return bytes(received)


def request(path: str = "/", *, method: str = "GET", body: bytes = b"", close: bool = True, **fields: str) -> bytes:
    lines = [f"{method} {path} HTTP/1.1", "Host: testserver"]
    lines += [f"{name.replace('_', '-')}: {value}" for name, value in fields.items()]
    if body and "Content_Length" not in fields:
        lines.append(f"Content-Length: {len(body)}")
    if close:
        lines.append("Connection: close")
    return "\r\n".join([*lines, "", ""]).encode() + body


@contextmanager
def house(application: Application, limits: Limits = PATIENT) -> Iterator[House]:
    listener = socket.create_server(("127.0.0.1", 0), backlog=256)
    worker = Worker(listener, application, limits)
    thread = threading.Thread(target=worker.serve)
    thread.start()
    opened = House(worker, listener.getsockname()[1])
    try:
        yield opened
    finally:
        for peer in opened.peers:
            peer.close()
        worker.alive = False
        worker.loop.wake()
        thread.join(PATIENCE_S)
