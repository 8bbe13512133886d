"""Headers of every answer: who may keep it, and which scripts, styles, pictures and sounds a page may load.

Scripts come from our own files, or carry the nonce of this one answer (`<script nonce="{{ request.csp_nonce }}">`, for
the import map). W3C Content Security Policy Level 3.
"""

import secrets
from collections.abc import Callable
from urllib.parse import urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

NONCE_BYTES = 16


class NoStoreMiddleware:
    """Nobody in between keeps a page, nor does the browser of a machine that others use.

    Static files never come here.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response


class ContentSecurityPolicyMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response
        # With a front server that fetches from the store, no browser ever meets it.
        store = urlsplit("" if settings.ACCEL_PREFIX else settings.S3_ENDPOINT_URL)
        self.store = f" {store.scheme}://{store.netloc}" if store.netloc else ""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        nonce = secrets.token_urlsafe(NONCE_BYTES)
        request.csp_nonce = nonce  # type: ignore[attr-defined]
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.policy(nonce))
        return response

    def policy(self, nonce: str) -> str:
        # Style attributes (a bar's width, a mark's place) hold no script; style elements stay forbidden.
        return (
            f"default-src 'self'; script-src 'self' 'nonce-{nonce}'; style-src-attr 'unsafe-inline'; "
            f"img-src 'self' data: blob:; media-src 'self' blob:{self.store}; connect-src 'self'{self.store}; "
            "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
        )
