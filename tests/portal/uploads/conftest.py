from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from django.test import Client
from pytest_django.fixtures import Settings

from portal.people.models import User
from tests.factories import make_client
from tests.portal.uploads.receiver import NotingReceiver
from tests.portal.uploads.sending import Sender


@pytest.fixture(autouse=True)
def house(settings: Settings, tmp_path: Path) -> Iterator[None]:
    """Uploads go to a receiver that only notes them; every test has its own folders and no reserve."""
    settings.UPLOAD_RECEIVERS = {"note": "tests.portal.uploads.receiver.NotingReceiver"}
    settings.UPLOAD_DIR = tmp_path / "uploads"
    settings.UPLOAD_DISK_RESERVE_BYTES = 0
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {"BACKEND": "portal.storage.FolderStorage", "OPTIONS": {"location": str(tmp_path / "store")}},
    }
    NotingReceiver.received.clear()
    yield
    NotingReceiver.received.clear()


@pytest.fixture
def owner(db: None) -> User:
    return make_client()


@pytest.fixture
def sender(owner: User, client: Client) -> Sender:
    client.force_login(owner)
    return Sender(client)
