"""Sends files as a browser without script does, and lets the house do what follows."""

from __future__ import annotations

import io
from collections.abc import Callable
from contextlib import AbstractContextManager

import numpy as np
import soundfile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from portal.bookings.models import Song
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
