"""Addresses that work outside our pages."""

from django.conf import settings


def absolute(path: str) -> str:
    return f"{settings.BASE_URL}{path}"
