"""Parts of a copy in an S3 store come as ranges (a real server that checks signatures)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from pytest_django.fixtures import Settings

from portal import file_serving
from portal.lanes.models import PlayCopy
from portal.lanes.sound import Part, words_of
from tests.factories import make_source
from tests.object_store import ACCESS_KEY, BUCKET, SECRET_KEY, ObjectStore, serving

pytestmark = pytest.mark.django_db
RATE_HZ, SECONDS = 48_000, 120


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ObjectStore]:
    with serving(tmp_path_factory.mktemp("s3")) as store:
        yield store


@pytest.fixture
def noise(tmp_path: Path) -> Path:
    """Two minutes that pack badly: 23 MB of FLAC."""
    words = np.random.default_rng(1).integers(-(2**15), 2**15, (SECONDS * RATE_HZ, 2), np.int16)
    soundfile.write(tmp_path / "copy.flac", words, RATE_HZ, subtype="PCM_16")
    return tmp_path / "copy.flac"


def test_a_second_in_the_middle_is_read_as_ranges_not_as_the_whole_copy(
    server: ObjectStore, settings: Settings, noise: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.client.upload_file(str(noise), BUCKET, "copies/a.flac")
    settings.S3_BUCKET = BUCKET
    options = settings.S3_STORE["OPTIONS"] | {
        "bucket_name": BUCKET,
        "endpoint_url": server.url,
        "access_key": ACCESS_KEY,
        "secret_key": SECRET_KEY,
    }
    settings.STORAGES = {**settings.STORAGES, "default": {"BACKEND": settings.S3_STORE["BACKEND"], "OPTIONS": options}}
    fetched: list[int] = []
    real = file_serving.read_stored

    def counted(key: str, start: int, stop: int) -> Iterator[bytes]:
        for piece in real(key, start, stop):
            fetched.append(len(piece))
            yield piece

    monkeypatch.setattr(file_serving, "read_stored", counted)
    copy = PlayCopy(
        source=make_source(), key="copies/a.flac", sample_rate_hz=RATE_HZ, channels=2, frames=SECONDS * RATE_HZ
    )
    part = Part.of(copy, start=60 * RATE_HZ, frames=RATE_HZ)

    words = words_of(copy, part)

    with soundfile.SoundFile(noise) as whole:
        whole.seek(part.start)
        assert np.array_equal(words, whole.read(part.frames, dtype="int16", always_2d=True))
    # A second is 0.2 MB; finding it in a FLAC without a table of contents takes a few reads more.
    assert sum(fetched) < noise.stat().st_size / 4
