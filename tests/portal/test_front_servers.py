"""Who may speak for somebody else."""

from ipaddress import ip_network

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from pytest_django import Settings

from portal.front_servers import FrontServerMiddleware, address_behind, is_front_server


@pytest.fixture(autouse=True)
def front_servers(settings: Settings) -> None:
    settings.FRONT_SERVERS = [ip_network("127.0.0.1"), ip_network("172.16.0.0/12")]


@pytest.mark.parametrize(
    ("peer", "is_one"),
    [
        ("127.0.0.1", True),
        ("172.18.0.4", True),
        ("::ffff:172.18.0.4", True),
        ("127.0.0.2", False),
        ("203.0.113.7", False),
        ("::1", False),
        ("not an address", False),
        pytest.param("", True, id="a socket in a folder"),
    ],
)
def test_only_listed_peers_are_front_servers(peer: str, is_one: bool) -> None:
    assert is_front_server(peer) is is_one


def test_without_any_nobody_is_one(settings: Settings) -> None:
    settings.FRONT_SERVERS = []
    assert not is_front_server("127.0.0.1")
    assert not is_front_server("")


def test_the_last_entry_is_the_front_servers_own() -> None:
    assert address_behind("127.0.0.1", "198.51.100.1, 203.0.113.7") == "203.0.113.7"
    assert address_behind("127.0.0.1", "") == "127.0.0.1"
    assert address_behind("203.0.113.9", "198.51.100.1") == "203.0.113.9"


def seen(rf: RequestFactory, peer: str) -> HttpRequest:
    request = rf.get("/", REMOTE_ADDR=peer, headers={"X-Forwarded-For": "198.51.100.1", "X-Forwarded-Proto": "https"})
    FrontServerMiddleware(lambda _: HttpResponse())(request)
    return request


def test_a_strangers_words_about_himself_are_gone(rf: RequestFactory, settings: Settings) -> None:
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    stranger, front = seen(rf, "203.0.113.9"), seen(rf, "127.0.0.1")

    assert (stranger.META["REMOTE_ADDR"], stranger.is_secure()) == ("203.0.113.9", False)
    assert (front.META["REMOTE_ADDR"], front.is_secure()) == ("198.51.100.1", True)
