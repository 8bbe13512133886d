from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from portal.bookings.models import Song
from portal.listening import jobs
from portal.listening.models import Excerpt
from portal.people.models import User
from tests.factories import make_client, make_map, make_song, make_source, store_content

RATE_HZ = 48_000


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara Quillfen")


@pytest.fixture
def song(mara: User) -> Song:
    """On the desk, with one stem of a minute and an approved map: 112 BPM, bar one at 2 s."""
    song = make_song(client=mara, stage="on-desk", turn="drummer", title="Cold Bus Under Spoons")
    file = io.BytesIO()
    time = np.arange(60 * RATE_HZ) / RATE_HZ
    soundfile.write(file, 0.5 * np.sin(2 * np.pi * 110 * time), RATE_HZ, "PCM_16", format="WAV")
    sha256 = store_content(file.getvalue())
    make_source(song=song, sha256=sha256, key=f"originals/{sha256[:2]}/{sha256}", features_key="features/some.npz")
    make_map(song=song)
    return song


@pytest.fixture
def drummer(song: Song) -> User:
    return song.booking.created_by


@pytest.fixture
def out(song: Song, drummer: User) -> Excerpt:
    """Made for real, and with the client."""
    from portal.listening import services

    excerpt = services.ask(song=song, first_bar=3, note="The fill, I mean.", by=drummer)
    jobs.make_excerpt(excerpt.pk)
    excerpt.refresh_from_db()
    return excerpt
