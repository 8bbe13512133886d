"""What `deploy/nginx.conf` does with real nginx, in front of the house's own worker."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.deploy.front import Front, front
from tests.portal.serving.house import house, request

pytestmark = pytest.mark.skipif(not shutil.which("nginx") or not shutil.which("openssl"), reason="needs nginx, openssl")

MIB = 1024**2
POLICY, HSTS = "default-src 'self'", "max-age=31536000"
SENT = b"the bytes of a file"


class Application:
    """Answers as the portal does: hands files over, sends to https, and says what it read."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str]] = []

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        path = environ["PATH_INFO"]
        self.asked.append((environ["REQUEST_METHOD"], path))
        headers = [
            ("Content-Security-Policy", POLICY),
            ("Strict-Transport-Security", HSTS),
            ("X-Content-Type-Options", "nosniff"),
            ("Cache-Control", "private, no-cache"),
        ]
        if path in ("/file", "/object"):
            where = "/store/a.wav" if path == "/file" else "/objects/a.wav"
            start("200 OK", [*headers, ("X-Accel-Redirect", where), ("Content-Type", "audio/wav")])
            return [b""]
        if path == "/bucket/a.wav":
            start("200 OK", [("Content-Length", str(len(SENT))), ("Content-Security-Policy", "another")])
            return [SENT]
        answer = (
            f"{environ['HTTP_HOST']} {environ['HTTP_X_FORWARDED_PROTO']} {environ['HTTP_X_FORWARDED_FOR']}".encode()
        )
        start("200 OK", [*headers, ("Content-Length", str(len(answer)))])
        return [answer]


@pytest.fixture
def application() -> Application:
    return Application()


@pytest.fixture
def site(tmp_path: Path, application: Application) -> Iterator[Front]:
    """With short deadlines, and limits that hold for this machine's own addresses too."""
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "a.wav").write_bytes(SENT)
    changes = {
        "127.0.0.0/8 0;": "127.0.0.0/8 1;",
        "client_header_timeout 10s;": "client_header_timeout 2s;",
        "client_body_timeout 10s;": "client_body_timeout 2s;",
        "limit_conn connections 80;": "limit_conn connections 3;",
    }
    with house(application) as opened, front(tmp_path, opened.port, changes) as site:
        yield site


def test_the_house_is_told_by_which_name_how_and_by_whom_it_is_asked(site: Front) -> None:
    answer = site.ask(request(X_Forwarded_For="203.0.113.7"))
    assert answer.endswith(b"testserver https 127.0.0.1")


def test_over_http_the_house_itself_answers_and_knows_its_own_name(site: Front) -> None:
    assert site.ask(request(), is_https=False).endswith(b"testserver http 127.0.0.1")


@pytest.mark.parametrize("path", ["/file", "/object"])
def test_files_that_nginx_sends_keep_the_houses_headers(site: Front, path: str) -> None:
    head, _, body = site.ask(request(path)).partition(b"\r\n\r\n")
    fields = head.decode().split("\r\n")
    assert body == SENT
    assert fields.count(f"Content-Security-Policy: {POLICY}") == 1
    assert fields.count(f"Strict-Transport-Security: {HSTS}") == 1
    assert fields.count("X-Content-Type-Options: nosniff") == 1
    assert "Cache-Control: private, no-cache" in fields
    assert not [field for field in fields if "another" in field]


def test_a_body_that_does_not_come_ends_and_never_reaches_the_house(site: Front, application: Application) -> None:
    sent = request("/sign-in/", method="POST", Content_Length="1000") + b"user"
    assert site.ask(sent).partition(b"\r\n")[0] in (b"", b"HTTP/1.1 408 Request Time-out")
    assert application.asked == []


def test_a_head_that_does_not_end_is_closed(site: Front, application: Application) -> None:
    assert site.ask(b"GET / HTTP/1.1\r\nHost: a\r\n").partition(b"\r\n")[0] in (b"", b"HTTP/1.1 408 Request Time-out")
    assert application.asked == []


def test_a_form_of_200_mib_is_refused_at_the_front(site: Front, application: Application) -> None:
    assert site.ask(request("/sign-in/", method="POST", Content_Length=str(200 * MIB))).startswith(b"HTTP/1.1 413 ")
    assert application.asked == []


@pytest.mark.parametrize(
    "path",
    ["/tus/", "/songs/7/files/upload/", "/songs/7/rough-mixes/upload/", "/deliveries/7/upload/", "/files/7/replace/"],
)
def test_an_upload_reaches_the_house_before_it_is_whole(site: Front, application: Application, path: str) -> None:
    with site.connect() as peer:
        peer.sendall(request(path, method="POST", Content_Length=str(200 * MIB)) + b"x" * 1_000)
        assert peer.recv(15) == b"HTTP/1.1 200 OK"
    assert application.asked == [("POST", path)]


def test_one_address_has_a_limit_of_connections(site: Front) -> None:
    """A connection counts once its head is read: here by three bodies that do not come."""
    held = [site.connect() for _ in range(3)]
    for peer in held:
        peer.sendall(request("/", method="POST", Content_Length="10") + b"x")
    answers = [site.ask(request()) for _ in range(20)]
    for peer in held:
        peer.close()
    assert any(answer.startswith(b"HTTP/1.1 429 ") for answer in answers)
