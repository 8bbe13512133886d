"""Addresses that work outside our pages, and those that lead into somebody's account."""

import re

from django.conf import settings

WAY_IN = re.compile(r"(/(?:invitations|password-reset|address)/)\S+")


def absolute(path: str) -> str:
    return f"{settings.BASE_URL}{path}"


def without_ways_in(body: str) -> str:
    """What an e-mail says, without the way into somebody's account. The demo sends nothing, so it keeps the link."""
    return body if settings.DEMO else WAY_IN.sub(r"\1… (this link was sent to the reader alone)", body)
