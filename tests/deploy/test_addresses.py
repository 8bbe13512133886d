"""What one address gets of `deploy/nginx.conf` as it stands. It has no limits for loopback, so these tests have a
network of their own, with public addresses in it."""

from __future__ import annotations

import ctypes
import fcntl
import os
import shutil
import socket
import struct
import sys
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from ipaddress import ip_network
from pathlib import Path
from typing import Any, TypeVar

import pytest
from pytest_django.fixtures import Settings

from portal.serving.limits import Limits
from tests.deploy.front import Front, front
from tests.portal.serving.house import PATIENT, house, request

pytestmark = [
    pytest.mark.skipif(not shutil.which("nginx") or not shutil.which("openssl"), reason="needs nginx, openssl"),
    pytest.mark.skipif(sys.platform != "linux", reason="another system makes no network for one thread"),
]

# For documentation (RFC 5737): nobody's.
ONE, ANOTHER, NAMED = "203.0.113.7", "203.0.113.8", "198.51.100.1"
# linux/sched.h, sockios.h and if.h; the forms are struct ifreq of netdevice(7).
CLONE_NEWNET, SET_FLAGS, SET_ADDRESS, IS_UP = 0x4000_0000, 0x8914, 0x8916, 1
# In deploy/nginx.conf: one address's connections to the server for http, and its requests at once to the one for https.
CONNECTIONS, BURST = 40, 300
NO_LIMITS = replace(PATIENT, requests_at_once=100_000, waiting=10_000, waiting_per_address=10_000)

Result = TypeVar("Result")


def application(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
    answer = environ.get("HTTP_X_FORWARDED_FOR", "nobody").encode()
    start("200 OK", [("Content-Length", str(len(answer)))])
    return [answer]


def enter_own_network() -> None:
    """This thread, and what it starts, see no other interfaces from then on."""
    if ctypes.CDLL(None, use_errno=True).unshare(CLONE_NEWNET):
        pytest.skip(f"no network of its own here: {os.strerror(ctypes.get_errno())}")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        fcntl.ioctl(any_socket, SET_FLAGS, struct.pack("16sH14x", b"lo", IS_UP))
        for number, address in enumerate((ONE, ANOTHER)):
            place = struct.pack("16sH2x4s8x", b"lo:%d" % number, socket.AF_INET, socket.inet_aton(address))
            fcntl.ioctl(any_socket, SET_ADDRESS, place)


@pytest.fixture
def thread() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(1) as thread:
        thread.submit(enter_own_network).result()
        yield thread


def at_a_site(
    thread: ThreadPoolExecutor, folder: Path, do: Callable[[Front], Result], *, limits: Limits = NO_LIMITS
) -> Result:
    def there() -> Result:
        with house(application, limits) as opened, front(folder, opened.port, {}) as site:
            return do(site)

    return thread.submit(there).result()


def is_ok(answer: bytes) -> bool:
    return answer.startswith(b"HTTP/1.1 200 ")


def test_the_house_is_told_the_address_and_not_what_a_stranger_says(thread: ThreadPoolExecutor, tmp_path: Path) -> None:
    asked = request(X_Forwarded_For=NAMED)
    answers = at_a_site(
        thread, tmp_path, lambda site: [site.ask(asked, source=source) for source in (ONE, ANOTHER, "127.0.0.1")]
    )
    assert [answer.rpartition(b"\r\n")[2].decode() for answer in answers] == [ONE, ANOTHER, "127.0.0.1"]


def test_one_address_has_so_many_connections_and_others_none_of_them(
    thread: ThreadPoolExecutor, tmp_path: Path
) -> None:
    """A connection counts once its head is read: here by bodies that do not come."""

    def hold(site: Front) -> list[bytes]:
        with ExitStack() as held:
            for _ in range(CONNECTIONS):
                peer = held.enter_context(site.connect(is_https=False, source=ONE))
                peer.sendall(request("/", method="POST", Content_Length="10") + b"x")
            # The last head may not be read yet when the next is: of three, one is one too many in any case.
            sources = (ONE, ONE, ONE, ANOTHER, "127.0.0.1")
            return [site.ask(request(), is_https=False, source=source) for source in sources]

    answers = at_a_site(thread, tmp_path, hold)
    assert any(answer.startswith(b"HTTP/1.1 429 ") for answer in answers[:3])
    assert [is_ok(answer) for answer in answers[3:]] == [True, True]


def test_one_address_has_so_many_requests_and_others_none_of_them(thread: ThreadPoolExecutor, tmp_path: Path) -> None:
    def flood(site: Front) -> tuple[list[bytes], bytes]:
        with site.connect(source=ONE) as peer, peer.makefile("rb") as answers:
            statuses = []
            for _ in range(3 * BURST):  # in less time than the allowance needs to fill up again
                peer.sendall(request(close=False))
                head = list(iter(answers.readline, b"\r\n"))
                length = next(int(line.split()[1]) for line in head if line.lower().startswith(b"content-length"))
                answers.read(length)
                statuses.append(head[0].split()[1])
                if statuses[-1] == b"429":
                    break
        return statuses, site.ask(request(), source=ANOTHER)

    statuses, other = at_a_site(thread, tmp_path, flood)
    assert statuses[-1] == b"429"
    assert len(statuses) > BURST
    assert is_ok(other)


def test_behind_a_front_server_the_house_limits_the_address_that_it_is_told(
    thread: ThreadPoolExecutor, tmp_path: Path, settings: Settings
) -> None:
    settings.FRONT_SERVERS = [ip_network("127.0.0.1")]
    limits = replace(NO_LIMITS, requests_at_once=2, requests_per_s=0.001)

    def ask(site: Front) -> bytes:
        for _ in range(2):
            site.ask(request(X_Forwarded_For=NAMED), source=ONE)
        with site.connect(source=ONE) as waiting:
            waiting.sendall(request(X_Forwarded_For=NAMED))
            other = site.ask(request(), source=ANOTHER)
            waiting.settimeout(0)
            with pytest.raises(OSError, match="did not complete"):  # nothing is here yet
                waiting.recv(1)
        return other

    assert is_ok(at_a_site(thread, tmp_path, ask, limits=limits))
