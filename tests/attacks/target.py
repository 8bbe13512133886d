"""The house under attack: on this machine alone, and somebody's own."""

from __future__ import annotations

import html
import ipaddress
import re
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from http.client import HTTPResponse
from urllib.parse import urlencode, urlsplit

PATIENCE_S = 10.0
TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="(\w+)"')


@cache
def any_certificate() -> ssl.SSLContext:
    """On loopback a certificate is often signed by itself."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


class NotOursError(Exception):
    """An address that is not on this machine."""


@dataclass(frozen=True)
class Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes
    cookies: Mapping[str, str]


@dataclass
class Target:
    """`attacker` is the address on this machine that attacks come from; pages are read from the usual one."""

    url: str
    # E-mail address and password of the house's "client" and "drummer", as far as they are known.
    people: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    attacker: str = "127.0.0.2"
    cookies: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        try:
            parts = urlsplit(self.url)
            self.host, self.is_https = parts.netloc, parts.scheme == "https"
            self.ip = ipaddress.ip_address(socket.gethostbyname(parts.hostname or ""))
        except (OSError, ValueError) as error:
            raise NotOursError(f"{self.url} cannot be found.") from error
        if not self.ip.is_loopback:
            raise NotOursError(f"{self.url} is not on this machine: attack a house of your own, on 127.0.0.1.")
        self.port = parts.port or (443 if self.is_https else 80)

    def connect(self, *, as_attacker: bool = True, timeout_s: float = PATIENCE_S) -> socket.socket:
        source = (self.attacker, 0) if as_attacker else None
        peer = socket.create_connection((str(self.ip), self.port), timeout_s, source_address=source)
        if not self.is_https:
            return peer
        return any_certificate().wrap_socket(peer, server_hostname=self.host.partition(":")[0])

    def head(self, method: str, path: str, **fields: str) -> bytes:
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        lines = [f"{method} {path} HTTP/1.1", f"Host: {self.host}", f"Referer: {self.url}/"]
        lines += [f"{name.replace('_', '-')}: {value}" for name, value in fields.items()]
        return "\r\n".join([*lines, *([f"Cookie: {cookies}"] if cookies else []), "", ""]).encode()

    def read(self, path: str) -> Answer:
        return self._ask("GET", path, b"", {}, as_attacker=False)

    def ask(self, method: str, path: str, body: bytes = b"", **fields: str) -> Answer:
        """One request over a connection of its own."""
        return self._ask(method, path, body, fields, as_attacker=True)

    def _ask(self, method: str, path: str, body: bytes, fields: dict[str, str], *, as_attacker: bool) -> Answer:
        with self.connect(as_attacker=as_attacker) as peer:
            if body:
                fields |= {"Content_Length": str(len(body))}
            peer.sendall(self.head(method, path, Connection="close", **fields) + body)
            return read_answer(peer, method)

    def signed_in(self, who: str) -> Target:
        """The same house, as somebody who has an account there."""
        if who not in self.people:
            raise NotOursError(f"Nothing is known of an account of a {who}.")
        known = replace(self, cookies={})
        known._sign_in(*self.people[who])
        return known

    def songs(self) -> list[int]:
        """Those that pages lead this person to."""
        paths = ["/", "/board/", "/desk/"]
        paths += dict.fromkeys(re.findall(r"/bookings/\d+/", self.text("/") + self.text("/board/")))
        return list(dict.fromkeys(int(key) for path in paths for key in re.findall(r"/songs/(\d+)/", self.text(path))))

    def timeline(self, song: int) -> str:
        """Of the song's booking, as text."""
        found = re.search(r"/bookings/\d+/", self.text(f"/songs/{song}/"))
        return self.text(found.group()) if found else ""

    def text(self, path: str) -> str:
        return html.unescape(self.ask("GET", path).body.decode("utf-8", "replace"))

    def _sign_in(self, email: str, password: str) -> None:
        page = self.read("/sign-in/")
        self.cookies |= page.cookies
        found = TOKEN.search(page.body)
        token = found.group(1).decode() if found else ""
        form = urlencode({"username": email, "password": password, "csrfmiddlewaretoken": token}).encode()
        kind = "application/x-www-form-urlencoded"
        answer = self.ask("POST", "/sign-in/", form, Content_Type=kind)
        self.cookies |= answer.cookies
        if "sessionid" not in self.cookies:
            raise NotOursError(f"Signing in as {email} failed ({answer.status}).")

    def stranger(self) -> Target:
        """The same house, as somebody who has no account. The cross-site check believes any cookie of this length."""
        return replace(self, cookies={"csrftoken": "a" * 32})


def read_answer(peer: socket.socket, method: str = "GET") -> Answer:
    response = HTTPResponse(peer, method=method)
    response.begin()
    body = response.read()
    cookies = dict(line.partition(";")[0].split("=", 1) for line in response.headers.get_all("Set-Cookie") or [])
    return Answer(response.status, dict(response.headers), body, cookies)
