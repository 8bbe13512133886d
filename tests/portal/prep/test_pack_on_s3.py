"""A session pack in a real S3 server that checks signatures: made, downloaded by the portal's own route, cleared."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal.prep import tasks
from portal.prep.models import SessionPack
from portal.prep.services import ask_pack
from tests.object_store import BUCKET, ObjectStore, serving
from tests.portal.prep.songs import make_packable

pytestmark = pytest.mark.django_db


@pytest.fixture
def store(tmp_path_factory: pytest.TempPathFactory, settings: Settings) -> Iterator[ObjectStore]:
    with serving(tmp_path_factory.mktemp("s3")) as store:
        store.use(settings)
        yield store


def keys_in(store: ObjectStore, prefix: str) -> list[str]:
    return [item["Key"] for item in store.client.list_objects_v2(Bucket=BUCKET, Prefix=prefix).get("Contents", [])]


def test_it_is_made_resumed_at_any_byte_and_cleared(client: Client, store: ObjectStore) -> None:
    """RFC 9110, 14: pieces from every place put together are the whole, byte for byte."""
    song = make_packable()
    pack = ask_pack(song=song, by=song.booking.created_by)
    tasks.make_pack(pack.pk)
    client.force_login(song.booking.created_by)
    address = reverse("prep:zip", args=[pack.pk])
    whole = b"".join(client.get(address))
    with zipfile.ZipFile(io.BytesIO(whole)) as packed:
        assert packed.testzip() is None
        sums = next(name for name in packed.namelist() if name.endswith("SHA256SUMS"))
        listed = dict(line.split("  ")[::-1] for line in packed.read(sums).decode().splitlines())
        root = sums.removesuffix("SHA256SUMS")
        assert {name: hashlib.sha256(packed.read(root + name)).hexdigest() for name in listed} == listed

    tag, got = client.get(address)["ETag"], b""
    for step in (1, 29, 4_095, 300_001, len(whole)):
        headers = {"Range": f"bytes={len(got)}-{len(got) + step - 1}", "If-Range": tag}
        response = client.get(address, headers=headers)
        assert response.status_code == 206
        got += b"".join(response)
    assert got == whole

    assert set(keys_in(store, "packs/")) == {member["key"] for member in SessionPack.objects.get().members.values()}
    SessionPack.objects.update(made_at=timezone.now() - timedelta(days=400))
    tasks.sweep()
    assert SessionPack.objects.get().state == SessionPack.State.CLEARED
    assert keys_in(store, "packs/") == []
    assert sorted(keys_in(store, "originals/")) == sorted(source.key for source in song.sources.all())
