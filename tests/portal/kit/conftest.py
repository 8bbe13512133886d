from __future__ import annotations

import dataclasses
import io

import numpy as np
import pytest
import soundfile
from django.test import Client
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from analysis.core.reports import Section
from portal.bookings.models import Song
from portal.intake.models import SourceFile
from portal.lanes.models import PlayCopy
from portal.people.models import User
from tests.browsing import sign_in
from tests.factories import make_check, make_client, make_map, make_song, make_source, measured_song, store_content
from tests.world import store_features

RATE_HZ = 48_000
SONG_S = 24


@pytest.fixture
def song() -> Song:
    """At the kit: 120 BPM from 2 s on, so that a bar is 2 s and the last of eleven begins at 22 s."""
    song = make_song(client=make_client(name="Mara Quillfen"), stage="tracking", title="Cold Bus Under Spoons")
    song.brief.notes = "Brushes, please.\nB: half-time\nbars 9-10: crashes"
    song.brief.save()
    for name in ("Cold Bus_bass.wav", "Cold Bus_keys left.wav", "Cold Bus_keys right.wav", "Cold Bus_guide drums.wav"):
        stem_of(song, name)
    make_map(song=song, bpm=120.0)
    measured = measured_song(bpm=120.0)
    sections = (Section(1, 4, "A"), Section(5, 4, "B"), Section(9, 3, "C"))
    make_check(
        song=song, report=dataclasses.replace(measured, song=dataclasses.replace(measured.song, sections=sections))
    )
    return song


def stem_of(song: Song, name: str) -> SourceFile:
    """A stem that is copied for playing: a tone of a quarter of full scale on the left, half of it on the right."""
    file = io.BytesIO()
    tone = 0.25 * np.sin(2 * np.pi * 220 * np.arange(SONG_S * RATE_HZ) / RATE_HZ)
    soundfile.write(file, np.stack([tone, tone / 2], axis=1), RATE_HZ, "PCM_16", format="FLAC")
    source = make_source(song=song, name=name, features_key=store_features())
    assert source.numbers is not None
    report = dataclasses.replace(
        source.numbers, duration_s=float(SONG_S), frames=SONG_S * RATE_HZ, leading_silence_s=2.0
    )
    source.store_report(report.to_json(), features_key=source.features_key)
    sha256 = store_content(file.getvalue())
    PlayCopy.objects.create(
        source=source,
        state=PlayCopy.State.MADE,
        key=f"originals/{sha256[:2]}/{sha256}",
        sample_rate_hz=RATE_HZ,
        channels=2,
        frames=SONG_S * RATE_HZ,
    )
    return source


@pytest.fixture
def drummer(song: Song) -> User:
    return song.booking.created_by


@pytest.fixture
def opened(live_server: LiveServer, client: Client, page: Page, song: Song, drummer: User) -> Page:
    """By the drummer; it is still being kept on the device."""
    client.force_login(drummer)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/kit/{song.pk}/")
    page.locator("[data-kit][data-state=ready]").wait_for()
    return page


@pytest.fixture
def kit(opened: Page) -> Page:
    """Opened by the drummer, and kept on the device."""
    opened.locator("[data-kit][data-kept=yes]").wait_for()
    return opened
