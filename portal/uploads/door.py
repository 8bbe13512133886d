"""Which bodies are read at all: decided by their announced length, before the first byte and before any other check.

Django reads a form to find its cross-site token, so without this a stranger's 200 MiB would lie on the disk first.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from portal.sizes import size_in_words
from portal.uploads import headers, quota
from portal.uploads.errors import NoRoomError

View = TypeVar("View", bound=Callable[..., HttpResponseBase])

# Parts of a form besides its files: their names, its other fields, its boundaries.
FORM_AROUND_FILES_BYTES = 1024**2
BODILESS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})


def may_bring_files(view: View) -> View:
    """Marks a view whose form may bring files, from somebody who is signed in."""
    view.may_bring_files = True  # type: ignore[attr-defined]
    return view


def reads_itself(view: View) -> View:
    """Marks a view that reads the bytes of an upload piece by piece, when it has decided to."""
    view.reads_itself = True  # type: ignore[attr-defined]
    return view


class BodyMiddleware:
    """Stands before the cross-site check, which would read the body."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response
        self.lock = threading.Lock()
        # Bytes of forms with files that are being read by this process.
        self.arriving_bytes = 0

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        try:
            return self.get_response(request)
        finally:
            self._count(-getattr(request, "arriving_bytes", 0))

    def process_view(self, request: HttpRequest, view: Callable[..., Any], *_: Any) -> HttpResponse | None:
        if request.method in BODILESS:
            return None
        if getattr(view, "reads_itself", False) and request.content_type == headers.BYTES_TYPE:
            return None
        if "Transfer-Encoding" in request.headers:
            return _sentence(411, "The length of this request is required before it is sent.")
        length_bytes = int(request.META.get("CONTENT_LENGTH") or 0)
        if length_bytes <= settings.LARGEST_ANONYMOUS_FORM_BYTES:
            return None
        if not request.user.is_authenticated:
            return _too_large(settings.LARGEST_ANONYMOUS_FORM_BYTES)
        if length_bytes <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            return None
        if not getattr(view, "may_bring_files", False):
            return _too_large(settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
        return self._let_in(request, length_bytes)

    def _let_in(self, request: HttpRequest, length_bytes: int) -> HttpResponse | None:
        """Files of a form lie on the data disk until they are taken over: they count against its reserve."""
        if length_bytes > settings.LARGEST_UPLOAD_BYTES + FORM_AROUND_FILES_BYTES:
            return _too_large(settings.LARGEST_UPLOAD_BYTES)
        Path(settings.FILE_UPLOAD_TEMP_DIR).mkdir(parents=True, exist_ok=True)
        self._count(length_bytes)
        request.arriving_bytes = length_bytes  # type: ignore[attr-defined]
        try:
            quota.check_disk(Path(settings.UPLOAD_DIR), self.arriving_bytes)
        except NoRoomError as error:
            return _sentence(error.status, error.sentence)
        return None

    def _count(self, length_bytes: int) -> None:
        with self.lock:
            self.arriving_bytes += length_bytes


def _too_large(most_bytes: int) -> HttpResponse:
    return _sentence(
        413, f"This request is too large; the limit here is {size_in_words(most_bytes)}. Nothing was read."
    )


def _sentence(status: int, text: str) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8")
