"""Speaks tus as a client does, over Django's test client."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.test import Client

from portal.uploads.models import Upload

BYTES_TYPE = "application/offset+octet-stream"


def base64_of(data: bytes | str) -> str:
    return base64.b64encode(data.encode() if isinstance(data, str) else data).decode()


def metadata(*, filename: str = "bass.wav", purpose: str = "note", target: int | str = 7) -> str:
    pairs = {"filename": filename, "purpose": purpose, "target": str(target)}
    return ",".join(f"{key} {base64_of(value)}" for key, value in pairs.items())


def row_at(path: str) -> Upload:
    return Upload.objects.get(pk=path.strip("/").rpartition("/")[2])


@dataclass
class Sender:
    client: Client

    def request(
        self, method: str, path: str, body: bytes = b"", content_type: str = "", **headers: Any
    ) -> HttpResponse:
        named = {"Tus-Resumable": "1.0.0"} | {name.replace("_", "-"): str(value) for name, value in headers.items()}
        sent = {name: value for name, value in named.items() if value != "None"}
        # As a header: the test client drops the content type of an empty body.
        sent |= {"Content-Type": content_type} if content_type else {}
        return self.client.generic(method, path, body, content_type, headers=sent)  # type: ignore[return-value]

    def create(self, length: int, body: bytes = b"", **fields: Any) -> HttpResponse:
        return self.request(
            "POST",
            "/tus/",
            body,
            BYTES_TYPE if body else "",
            Upload_Length=length,
            Upload_Metadata=metadata(**fields),
        )

    def new(self, length: int, **fields: Any) -> str:
        return self.create(length, **fields)["Location"]

    def partial(self, content: bytes, *, sent: int | None = None) -> str:
        """A partial upload that does not say what it is for, as parallel senders make them."""
        made = self.request("POST", "/tus/", Upload_Length=len(content), Upload_Concat="partial")
        self.patch(made["Location"], content[:sent], 0)
        return made["Location"]

    def join(self, *paths: str, **fields: Any) -> HttpResponse:
        return self.request(
            "POST", "/tus/", Upload_Concat=f"final;{' '.join(paths)}", Upload_Metadata=metadata(**fields)
        )

    def patch(self, path: str, body: bytes, offset: int, **headers: Any) -> HttpResponse:
        return self.request("PATCH", path, body, BYTES_TYPE, Upload_Offset=offset, **headers)

    def head(self, path: str) -> HttpResponse:
        return self.request("HEAD", path)
