"""Gunicorn's worker for this house: `--worker-class portal.serving.worker.HouseWorker`.

Gunicorn's own threaded worker gives a connection a thread before its request is here, so a few that drip take all of
them. Servers that collect a request first (waitress) also collect an upload of 30 GiB before the first byte of it is
seen, and an upload has to count piece by piece. Here a loop collects what is small, and what is long has places of its
own (`loop.py`). Parsing stays gunicorn's.
"""

from __future__ import annotations

import os
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial

from django.db import close_old_connections
from gunicorn.workers.base import Worker

from portal.serving import refusals
from portal.serving.answering import Exchange
from portal.serving.connection import Connection
from portal.serving.limits import Limits
from portal.serving.loop import Loop

STEP_S = 1.0


class HouseWorker(Worker):  # type: ignore[misc]  # gunicorn is published without types
    limits = Limits()
    loop: Loop

    def init_process(self) -> None:
        self.pages = ThreadPoolExecutor(self.cfg.threads, thread_name_prefix="pages")
        self.long = ThreadPoolExecutor(self.limits.long_requests, thread_name_prefix="long")
        super().init_process()

    def run(self) -> None:
        self.loop = Loop(self.sockets, limits=self.limits, threads=self.cfg.threads, begin=self.begin)
        while self.alive and self.ppid == os.getppid():
            self.notify()
            self.loop.step(STEP_S)
        self.loop.stop_accepting()
        give_up_at = time.monotonic() + self.cfg.graceful_timeout
        while self.loop.connections and time.monotonic() < give_up_at:
            self.notify()
            self.loop.step(STEP_S)
        self.pages.shutdown(wait=False, cancel_futures=True)
        self.long.shutdown(wait=False, cancel_futures=True)
        self.loop.close()

    def begin(self, connection: Connection, request: bytes, *, is_long: bool) -> None:
        exchange = Exchange(self, connection, request=request, is_long=is_long)
        if is_long:
            self.long.submit(self.serve_long, exchange)
        else:
            self.pages.submit(self.serve_page, exchange)

    def serve_page(self, exchange: Exchange) -> None:
        exchange.answer()
        if exchange.rest is None:
            self.end(exchange, bytes(exchange.kept.sent), was_page=True)
            return
        # What is read while the answer is sent is read by another thread, over a connection of its own.
        close_old_connections()
        if self.loop.places.take(exchange.connection.address):
            self.loop.soon(partial(self.loop.moved, exchange.connection))
            self.long.submit(self.send_rest, exchange)
        else:
            exchange.drop_rest()
            self.end(exchange, refusals.NO_PLACE, was_page=True)

    def serve_long(self, exchange: Exchange) -> None:
        exchange.answer()
        self.end_long(exchange)

    def send_rest(self, exchange: Exchange) -> None:
        exchange.connection.sock.settimeout(self.limits.piece_within_s)
        exchange.send_rest()
        self.end_long(exchange)

    def end_long(self, exchange: Exchange) -> None:
        self.loop.places.give_back(exchange.connection.address)
        self.end(exchange, bytes(exchange.kept.sent), was_page=False)

    def end(self, exchange: Exchange, answer: bytes, *, was_page: bool) -> None:
        ended = partial(self.loop.ended, exchange.connection, answer, was_page=was_page, is_kept=exchange.is_kept)
        self.loop.soon(ended)
