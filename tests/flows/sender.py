"""A client at a command line: signs in and sends a file by tus, in as many pieces as it takes."""

import base64
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import requests

TUS = {"Tus-Resumable": "1.0.0"}
BYTES = {"Content-Type": "application/offset+octet-stream"}


class Sender:
    def __init__(self, house: Mapping[str, Any], *, who: str = "client") -> None:
        self.house, self.who = house, who
        self.session = requests.Session()
        self.sign_in()

    def sign_in(self) -> None:
        address = f"{self.house['url']}/sign-in/"
        self.session.get(address).raise_for_status()
        who = self.house[self.who]
        form = {"username": who["email"], "password": who["password"], "csrfmiddlewaretoken": self.token}
        self.session.post(address, data=form, headers={"Referer": address}).raise_for_status()

    @property
    def token(self) -> str:
        return str(self.session.cookies["csrftoken"])

    def tus(self, method: str, address: str, **kwargs: Any) -> requests.Response:
        headers = TUS | {"X-CSRFToken": self.token, "Referer": self.house["url"]} | kwargs.pop("headers", {})
        response = self.session.request(method, address, headers=headers, **kwargs)
        response.raise_for_status()
        return response

    def begin(self, path: Path, *, purpose: str, target: int, size: int | None = None) -> str:
        """Open an upload; the path of its address, which stays when the house opens again at another port."""
        said = {"filename": path.name, "purpose": purpose, "target": str(target)}
        coded = ",".join(f"{key} {base64.b64encode(value.encode()).decode()}" for key, value in said.items())
        length = path.stat().st_size if size is None else size
        said_headers = {"Upload-Length": str(length), "Upload-Metadata": coded}
        return str(self.tus("POST", self.house["tus"], headers=said_headers).headers["Location"])

    def offset(self, upload: str) -> int:
        return int(self.tus("HEAD", urljoin(self.house["url"], upload)).headers["Upload-Offset"])

    def send(self, upload: str, content: bytes, *, offset: int) -> int:
        headers = BYTES | {"Upload-Offset": str(offset)}
        response = self.tus("PATCH", urljoin(self.house["url"], upload), headers=headers, data=content)
        return int(response.headers["Upload-Offset"])

    def post(self, address: str, **said: str) -> requests.Response:
        """A form of a page."""
        data = said | {"csrfmiddlewaretoken": self.token}
        return self.session.post(address, data=data, headers={"Referer": self.house["url"]}, timeout=30)
