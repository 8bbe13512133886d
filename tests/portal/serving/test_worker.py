"""Real sockets against the real worker. Its two threads are fewer than the connections of every attack here."""

import threading
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

import pytest

from portal.serving.limits import Limits
from tests.portal.serving.house import PATIENT, QUICK, THREADS, House, house, read_to_end, request

MIB = 1024**2
LONG_ANSWER = 8 * MIB
UPLOAD = "application/offset+octet-stream"


class Application:
    """`/` says what was read of the request; `/long` sends much; `/unread` answers before it reads."""

    def __init__(self) -> None:
        self.may_go_on = threading.Event()
        self.is_entered = threading.Semaphore(0)
        self.addresses: list[str] = []

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        self.addresses.append(environ["REMOTE_ADDR"])
        path = environ["PATH_INFO"]
        if path == "/held":
            self.is_entered.release()
            assert self.may_go_on.wait(60)
        if path == "/broken":
            raise RuntimeError("broken")
        if path == "/unread":
            start("413 Content Too Large", [("Content-Length", "3")])
            return [b"no\n"]
        if path == "/long":
            start("200 OK", [("Content-Length", str(LONG_ANSWER))])
            return (b"x" * 65_536 for _ in range(LONG_ANSWER // 65_536))
        body = self.read(environ)
        answer = f"{environ['REQUEST_METHOD']} {path} {len(body)}\n".encode()
        start("200 OK", [("Content-Length", str(len(answer)))])
        return [answer]

    def read(self, environ: dict[str, Any]) -> bytes:
        body = b""
        try:
            while piece := environ["wsgi.input"].read(65_536):
                body += piece
                self.is_entered.release()
        except OSError:
            pass
        return body


def page(opened: House, source: str = "127.0.0.9") -> bytes:
    return opened.ask(request("/page"), source=source)


def test_a_page_is_answered() -> None:
    with house(Application()) as opened:
        answer = opened.ask(request("/page"))
    assert answer.startswith(b"HTTP/1.1 200 OK\r\n")
    assert answer.endswith(b"\r\n\r\nGET /page 0\n")


@pytest.mark.parametrize(
    "dripped",
    [
        pytest.param(b"", id="nothing"),
        pytest.param(b"POST /sign-in/ HTTP/1.1\r\nHost: a\r\n", id="a head without an end"),
        pytest.param(request("/", method="POST", Content_Length="1000") + b"user", id="a body that does not come"),
    ],
)
def test_forty_connections_that_drip_hold_no_thread(dripped: bytes) -> None:
    with house(Application()) as opened:
        for _ in range(40):
            opened.connect(dripped)
        assert page(opened).endswith(b"GET /page 0\n")


def test_readers_that_take_nothing_hold_no_thread() -> None:
    """More long answers than threads, none of which is read: a page still comes."""
    with house(Application()) as opened:
        for _ in range(THREADS + 3):
            peer = opened.connect(request("/long"))
            assert peer.recv(15) == b"HTTP/1.1 200 OK"
        assert page(opened).endswith(b"GET /page 0\n")


def test_uploads_under_way_hold_no_thread_for_pages() -> None:
    application = Application()
    with house(application) as opened:
        for _ in range(THREADS + 3):
            opened.connect(request("/", method="PATCH", Content_Type=UPLOAD, Content_Length="99999999") + b"x" * 65_536)
            assert application.is_entered.acquire(timeout=20)
        assert page(opened).endswith(b"GET /page 0\n")


def test_an_upload_is_read_as_it_arrives() -> None:
    application = Application()
    with house(application) as opened:
        peer = opened.connect(request("/", method="PATCH", Content_Type=UPLOAD, Content_Length=str(2 * 65_536)))
        peer.sendall(b"x" * 65_536)
        assert application.is_entered.acquire(timeout=20)  # the first half is read, the second is not sent
        peer.sendall(b"x" * 65_536)
        assert read_to_end(peer).endswith(f"PATCH / {2 * 65_536}\n".encode())


def test_a_head_that_does_not_end_is_refused_in_time() -> None:
    with house(Application(), QUICK) as opened:
        assert opened.ask(b"GET / HTTP/1.1\r\n").startswith(b"HTTP/1.1 408 ")


def test_a_body_that_does_not_end_is_refused_in_time() -> None:
    with house(Application(), QUICK) as opened:
        sent = request("/", method="POST", Content_Length="1000") + b"user"
        assert opened.ask(sent).startswith(b"HTTP/1.1 408 ")


def test_a_connection_that_says_nothing_is_closed_in_time() -> None:
    with house(Application(), QUICK) as opened:
        assert opened.ask(b"") == b""


def test_a_long_body_is_not_read_before_it_is_wanted() -> None:
    """A form's limit is 2.5 MiB: what is longer waits at the door, and the refusal comes with nothing of it read."""
    with house(Application()) as opened:
        answer = opened.ask(request("/unread", method="POST", Content_Length=str(200 * MIB)))
        assert answer.startswith(b"HTTP/1.1 413 ")


def test_a_refusal_arrives_although_the_sender_goes_on() -> None:
    with house(Application()) as opened:
        peer = opened.connect(request("/unread", method="POST", Content_Length=str(200 * MIB)))
        peer.sendall(b"x" * 65_536)
        assert read_to_end(peer).startswith(b"HTTP/1.1 413 ")


def test_a_head_over_the_limit_is_refused() -> None:
    with house(Application(), replace(QUICK, largest_head_bytes=2_000)) as opened:
        assert opened.ask(request(Cookie="x" * 3_000)).startswith(b"HTTP/1.1 431 ")


def test_one_address_has_a_limit_of_connections_and_others_none_of_it() -> None:
    with house(Application(), replace(PATIENT, connections_per_address=5)) as opened:
        for _ in range(5):
            opened.connect(source="127.0.0.2")
        assert opened.ask(b"", source="127.0.0.2").startswith(b"HTTP/1.1 503 ")
        assert page(opened).endswith(b"GET /page 0\n")


def test_when_all_connections_are_taken_the_one_that_waits_longest_goes() -> None:
    with house(Application(), replace(PATIENT, connections=5)) as opened:
        idle = [opened.connect(source=f"127.0.0.{number}") for number in range(2, 7)]
        assert page(opened).endswith(b"GET /page 0\n")
        assert idle[0].recv(1) == b""


def test_one_address_cannot_have_all_threads() -> None:
    application = Application()
    with house(application) as opened:
        for _ in range(5):
            opened.connect(request("/held"), source="127.0.0.2")
        assert application.is_entered.acquire(timeout=20)
        assert page(opened).endswith(b"GET /page 0\n")
        application.may_go_on.set()


def test_an_address_that_asks_without_end_is_slowed_down_and_others_are_not() -> None:
    application = Application()
    with house(application, replace(PATIENT, requests_at_once=3.0, requests_per_s=0.001)) as opened:
        for _ in range(3):
            opened.ask(request("/page"), source="127.0.0.2")
        fourth = opened.connect(request("/page"), source="127.0.0.2")
        assert opened.ask(request("/static/page.css"), source="127.0.0.3").endswith(b"GET /static/page.css 0\n")
        assert page(opened).endswith(b"GET /page 0\n")
        assert len(application.addresses) == 5  # the fourth waits
        fourth.close()


def test_who_is_slowed_down_is_answered_when_it_may_ask_again() -> None:
    with house(Application(), replace(PATIENT, requests_at_once=1.0, requests_per_s=4.0)) as opened:
        for _ in range(3):
            assert page(opened).endswith(b"GET /page 0\n")


def test_static_files_are_not_counted() -> None:
    with house(Application(), replace(PATIENT, requests_at_once=1.0, requests_per_s=0.001)) as opened:
        for _ in range(3):
            assert opened.ask(request("/static/page.css")).endswith(b"GET /static/page.css 0\n")


def test_one_address_cannot_queue_without_end() -> None:
    application = Application()
    with house(application, replace(PATIENT, waiting_per_address=3)) as opened:
        opened.connect(request("/held"), source="127.0.0.2")
        assert application.is_entered.acquire(timeout=20)
        for _ in range(3):
            opened.connect(request("/held"), source="127.0.0.2")
        answer = opened.ask(request("/held"), source="127.0.0.2")
        application.may_go_on.set()
    assert answer.startswith(b"HTTP/1.1 429 ")
    assert b"\r\nRetry-After: " in answer


def test_uploads_beyond_the_places_are_told_when_to_try_again() -> None:
    application = Application()
    with house(application, replace(PATIENT, long_requests=2, long_requests_per_address=2)) as opened:
        sent = request("/", method="PATCH", Content_Type=UPLOAD, Content_Length="99999999") + b"x" * 65_536
        for _ in range(2):
            opened.connect(sent)
            assert application.is_entered.acquire(timeout=20)
        answer = opened.ask(sent)
        assert answer.startswith(b"HTTP/1.1 503 ")
        assert b"\r\nRetry-After: " in answer
        assert opened.ask(request("/long")).startswith(b"HTTP/1.1 503 ")


def test_bodies_of_one_address_share_a_limit_of_memory() -> None:
    with house(Application(), replace(PATIENT, form_bytes_per_address=2 * MIB)) as opened:
        sent = request("/", method="POST", Content_Length=str(MIB)) + b"x"
        for _ in range(2):
            opened.connect(sent, source="127.0.0.2")
        assert opened.ask(sent, source="127.0.0.2").startswith(b"HTTP/1.1 503 ")
        assert page(opened).endswith(b"GET /page 0\n")


def test_a_kept_connection_serves_one_request_after_the_other() -> None:
    with house(Application()) as opened:
        peer = opened.connect(request("/one", close=False))
        while not peer.recv(4_096).endswith(b"GET /one 0\n"):
            pass
        peer.sendall(request("/two", method="POST", body=b"abc"))
        assert read_to_end(peer).endswith(b"POST /two 3\n")


def test_requests_sent_at_once_are_answered_in_order() -> None:
    with house(Application()) as opened:
        answers = opened.ask(request("/one", method="POST", body=b"abc", close=False) + request("/two"))
    assert answers.index(b"POST /one 3\n") < answers.index(b"GET /two 0\n")


def test_a_sender_who_waits_for_leave_gets_it() -> None:
    """RFC 9110, 10.1.1."""
    with house(Application()) as opened:
        peer = opened.connect(request("/", method="POST", Content_Length="3", Expect="100-continue"))
        assert peer.recv(100).startswith(b"HTTP/1.1 100 Continue\r\n\r\n")
        peer.sendall(b"abc")
        assert read_to_end(peer).endswith(b"POST / 3\n")


@pytest.mark.parametrize(
    "sent",
    [
        pytest.param(request(Content_Length="3, 3") + b"abc", id="two lengths in one field"),
        pytest.param(
            b"POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab", id="two lengths"
        ),
        pytest.param(request(Content_Length="3", Transfer_Encoding="chunked") + b"3\r\nabc\r\n0\r\n\r\n", id="both"),
        pytest.param(request(Content_Length="9" * 30), id="a length of thirty digits"),
        pytest.param(b"\x16\x03\x01\r\n\r\n", id="no request"),
    ],
)
def test_what_is_no_clear_request_ends_its_connection_and_nothing_else(sent: bytes) -> None:
    with house(Application()) as opened:
        answer = opened.ask(sent + request("/smuggled"))
        assert b"smuggled" not in answer
        assert page(opened).endswith(b"GET /page 0\n")


def test_an_application_that_breaks_answers_500_and_the_next_is_served() -> None:
    with house(Application()) as opened:
        assert opened.ask(request("/broken")).startswith(b"HTTP/1.1 500 ")
        assert page(opened).endswith(b"GET /page 0\n")


def test_a_long_answer_arrives_whole() -> None:
    with house(Application()) as opened:
        assert len(opened.ask(request("/long")).partition(b"\r\n\r\n")[2]) == LONG_ANSWER


def test_all_places_and_threads_are_given_back() -> None:
    with house(Application()) as opened:
        for _ in range(QUICK.long_requests_per_address + 1):
            opened.ask(request("/long"))
            opened.ask(request("/", method="PATCH", Content_Type=UPLOAD, body=b"abc"))
            opened.ask(request("/broken"))
        assert page(opened).endswith(b"GET /page 0\n")
        assert not opened.worker.loop.places.taken
        assert not opened.worker.loop.pages.under_way


def test_a_body_gets_the_time_that_its_length_needs() -> None:
    """1 MiB at 16 KiB/s takes 64 s, besides the ten seconds that every body has."""
    assert Limits().seconds_for(MIB) == 74
