"""A line between a browser and a house that breaks once, in the middle of a long answer."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

PIECE_BYTES = 65_536


@dataclass
class BrokenLine:
    """The first answer to a request that has `path` in it ends when `after_bytes` of it have come; all else passes."""

    house: tuple[str, int]
    path: bytes
    after_bytes: int
    url: str = ""
    is_broken: bool = False
    # The heads of all requests for that path.
    heads: list[bytes] = field(default_factory=list)

    def serve(self, listener: socket.socket) -> None:
        with suppress(OSError):  # closed at the end
            while True:
                browser, _ = listener.accept()
                house = socket.create_connection(self.house)
                for carry in (self._carry_requests, self._carry_answers):
                    threading.Thread(target=carry, args=[browser, house], daemon=True).start()

    def _carry_requests(self, browser: socket.socket, house: socket.socket) -> None:
        with suppress(OSError):
            while piece := browser.recv(PIECE_BYTES):
                if self.path in piece.partition(b"\r\n")[0]:
                    self.heads.append(piece)
                house.sendall(piece)
            house.shutdown(socket.SHUT_WR)

    def _carry_answers(self, browser: socket.socket, house: socket.socket) -> None:
        carried = 0
        with suppress(OSError), browser, house:
            while piece := house.recv(PIECE_BYTES):
                browser.sendall(piece)
                carried += len(piece) * bool(self.heads)
                if carried > self.after_bytes and not self.is_broken:
                    self.is_broken = True
                    browser.shutdown(socket.SHUT_RDWR)


@contextmanager
def broken_line(port: int, *, path: str, after_bytes: int) -> Iterator[BrokenLine]:
    """To what listens at this port of this machine."""
    with socket.create_server(("localhost", 0)) as listener:
        line = BrokenLine(("localhost", port), path.encode(), after_bytes)
        line.url = f"http://localhost:{listener.getsockname()[1]}"
        threading.Thread(target=line.serve, args=[listener], daemon=True).start()
        yield line
