"""A page as its reader gets it."""

from dataclasses import asdict

from django.test import Client

from portal.bookings.models import Song
from portal.intake.checks.page_version import Seen
from tests.portal.pages import flat


def read(client: Client, path: str) -> str:
    response = client.get(path)
    assert response.status_code == 200
    return flat(response.content.decode())


def seen_now(song: Song) -> dict[str, str]:
    """The hidden fields of a form that decides about the song's tempo, on a page that was opened now."""
    return {name: str(number) for name, number in asdict(Seen.now(song)).items()}
