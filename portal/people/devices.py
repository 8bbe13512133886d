"""Devices that were signed in to an account before: a signed cookie says so. It lets nobody in; it only keeps guesses
that come from elsewhere from counting against whoever has it."""

from __future__ import annotations

import secrets
from datetime import timedelta

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponseBase
from django.utils.crypto import salted_hmac

COOKIE, SALT = "kitpost-device", "portal.people.devices"
LASTS = timedelta(days=365)
ID_BYTES = 12


def known_device(request: HttpRequest, *, account: str) -> str:
    """The name of this device if it was signed in to this account before, else empty."""
    try:
        device, owner = signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=LASTS)
    except (signing.BadSignature, ValueError, TypeError):
        return ""
    return str(device) if owner == _owner(account) else ""


def remember_device(request: HttpRequest, response: HttpResponseBase, *, account: str) -> None:
    if known_device(request, account=account):
        return
    value = signing.dumps([secrets.token_urlsafe(ID_BYTES), _owner(account)], salt=SALT)
    response.set_cookie(
        COOKIE, value, max_age=LASTS, secure=settings.SESSION_COOKIE_SECURE, httponly=True, samesite="Lax"
    )


def _owner(account: str) -> str:
    return salted_hmac(SALT, account.strip().lower(), algorithm="sha256").hexdigest()
