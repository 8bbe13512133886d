from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from analysis.maps import PooledAttacks
from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks import jobs
from portal.intake.maps import page as map_page
from portal.mailroom.models import Message
from portal.people.models import User
from tests.factories import make_check, make_client, make_drummer, make_map, make_song, make_source, measured_song

DRIFT_BPM = 111.9


@pytest.fixture(autouse=True)
def folders(settings: Settings, tmp_path: Path) -> None:
    """Each test has its own upload folder and store."""
    settings.UPLOAD_DIR = tmp_path / "uploads"
    settings.UPLOAD_DISK_RESERVE_BYTES = 0
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "portal.storage.FolderStorage", "OPTIONS": {"location": str(tmp_path / "store")}},
    }


@pytest.fixture
def client_user() -> User:
    return make_client()


@pytest.fixture
def drummer() -> User:
    return make_drummer()


@pytest.fixture
def song(client_user: User) -> Song:
    """A song of one measured file."""
    song = make_song(client=client_user, stage=SongStage.ON_DESK)
    make_source(song=song)
    return song


@pytest.fixture
def signed_in(client: Client, drummer: User) -> User:
    """The drummer, at the browser."""
    client.force_login(drummer)
    return drummer


@pytest.fixture
def on_desk() -> Song:
    """Measured, and on the desk."""
    song = make_song(
        client=make_client(name="Mara Quillfen"), stage=SongStage.ON_DESK, title="Thursday Ladder Behind Soup"
    )
    make_source(song=song)
    make_check(song=song)
    return song


@pytest.fixture
def asked(song: Song) -> Message:
    """The question about click and tempo, waiting for the client."""
    make_check(song=song, report=measured_song("no-click", "no-tempo"))
    jobs.measure(song.pk)
    song.refresh_from_db()
    return Message.objects.get()


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> Song:
    """Approved at 112 with bar one at 2 s, played at 111.9: a minute of attacks on every beat."""
    song = make_song(stage=SongStage.ON_DESK, title="Cold Bus Under Spoons")
    make_source(song=song, features_key="")
    make_map(song=song)
    played = 2.0 + np.arange(100) * 60 / DRIFT_BPM
    monkeypatch.setattr(map_page, "attacks_of", lambda _: PooledAttacks(played, np.ones(100)))
    return song
