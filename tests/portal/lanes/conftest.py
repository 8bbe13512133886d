from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from portal.bookings.models import Song
from portal.intake.models import SourceFile
from portal.lanes import jobs
from portal.people.models import User
from tests.factories import make_client, make_map, make_song, make_source, store_content
from tests.world import store_features

RATE_HZ = 48_000


def ramp(seconds: int = 20) -> NDArray[np.int16]:
    """Two channels whose words say their frame: no two parts are alike."""
    frames = np.arange(seconds * RATE_HZ)
    return np.stack([frames % 20_000, -(frames % 17_000)], axis=1).astype(np.int16)


@pytest.fixture
def song() -> Song:
    """On the desk, approved at 112 BPM with bar one at 2 s."""
    song = make_song(client=make_client(name="Mara Quillfen"), stage="on-desk", title="Cold Bus Under Spoons")
    make_map(song=song)
    return song


@pytest.fixture
def source(song: Song) -> SourceFile:
    file = io.BytesIO()
    soundfile.write(file, ramp(), RATE_HZ, "PCM_16", format="WAV")
    sha256 = store_content(file.getvalue())
    key = f"originals/{sha256[:2]}/{sha256}"
    return make_source(song=song, sha256=sha256, key=key, features_key=store_features())


@pytest.fixture
def copied(source: SourceFile) -> SourceFile:
    jobs.make_copy(source.pk)
    return source


@pytest.fixture
def drummer(song: Song) -> User:
    return song.booking.created_by
