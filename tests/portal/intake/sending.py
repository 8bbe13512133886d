"""Sends files as a browser does, with and without script, and lets the house do what follows."""

from __future__ import annotations

import io
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import numpy as np
import soundfile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from portal.bookings.models import Song
from portal.intake.models import SourceFile
from tests.browsing import sign_in
from tests.factories import make_client, make_song
from tests.signals import click_track, tone

SAMPLE_RATE_HZ = 44_100
Callbacks = Callable[..., AbstractContextManager[list[Callable[[], object]]]]


def wav(samples: np.ndarray | None = None, *, subtype: str = "PCM_16") -> bytes:
    """A WAV file: a second of a quiet tone, unless other samples are given."""
    buffer = io.BytesIO()
    soundfile.write(
        buffer,
        tone(amplitude=0.25, sample_rate_hz=SAMPLE_RATE_HZ) if samples is None else samples,
        SAMPLE_RATE_HZ,
        subtype=subtype,
        format="WAV",
    )
    return buffer.getvalue()


def click_wav() -> bytes:
    return wav(click_track(bpm=112, beats=48, sample_rate_hz=SAMPLE_RATE_HZ).samples)


def send(client: Client, song: Song, *files: tuple[str, bytes], then: Callbacks) -> HttpResponse:
    """Post the files and run what the commit starts: surveys and the song's check."""
    uploaded = [SimpleUploadedFile(name, content) for name, content in files]
    with then(execute=True):
        response: HttpResponse = client.post(f"/songs/{song.pk}/files/upload/", {"file": uploaded}, follow=True)  # type: ignore[assignment]
    return response


def open_song(live_server: LiveServer, client: Client, page: Page) -> Song:
    """The page stands at a song of the client who is signed in."""
    user = make_client()
    client.force_login(user)
    song = make_song(client=user)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}{song.get_absolute_url()}")
    return song


def choose(page: Page, *paths: Path) -> None:
    page.locator(".dropzone input[type=file]").set_input_files(list(paths))


def first_bytes(page: Page) -> AbstractContextManager[object]:
    """Ends when the page begins to send: from then on it knows the upload as the house does."""
    return page.expect_request(lambda request: request.method == "PATCH")


def stored_content(source: SourceFile) -> bytes:
    with default_storage.open(source.key) as file:
        content: bytes = file.read()
    return content
