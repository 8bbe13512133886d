"""tus 1.0.0, the protocol's extensions, requirement by requirement."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal.uploads.expiry import KEPT_OPEN
from portal.uploads.local_part import part_path
from portal.uploads.models import Upload
from tests.portal.uploads.receiver import FORBIDDEN, HIDDEN, REFUSED, NotingReceiver
from tests.portal.uploads.sending import BYTES_TYPE, Sender, base64_of, metadata, row_at

DATA = bytes(range(256)) * 4


class TestCreation:
    def test_a_new_upload_is_201_with_its_address(self, sender: Sender) -> None:
        response = sender.create(1_000)

        assert response.status_code == 201
        assert response["Location"] == f"/tus/{Upload.objects.get().pk}/"

    def test_a_file_of_no_bytes_is_complete_at_once(self, sender: Sender) -> None:
        path = sender.create(0)["Location"]

        assert sender.head(path)["Upload-Offset"] == "0"
        assert [upload.sha256 for upload in NotingReceiver.received] == [hashlib.sha256(b"").hexdigest()]

    def test_over_the_largest_size_is_413_with_a_sentence(self, sender: Sender, settings: Settings) -> None:
        settings.LARGEST_UPLOAD_BYTES = 2048

        response = sender.create(2049)

        assert response.status_code == 413
        assert "the limit for one file is 2.0" in response.content.decode()
        assert sender.create(2048).status_code == 201

    @pytest.mark.parametrize("length", [None, "", "-5", "abc", "1e9"])
    def test_a_length_that_cannot_be_read_is_400(self, sender: Sender, length: str | None) -> None:
        response = sender.request("POST", "/tus/", Upload_Length=length, Upload_Metadata=metadata())

        assert response.status_code == 400

    @pytest.mark.parametrize("value", ["1", "2", "no"])
    def test_a_deferred_length_is_400(self, sender: Sender, value: str) -> None:
        response = sender.request("POST", "/tus/", Upload_Defer_Length=value, Upload_Metadata=metadata())

        assert response.status_code == 400

    @pytest.mark.parametrize(
        "raw",
        ["filename !!!", "a Yg==,a Yw==", "fïle Yg==", f"filename {'A' * 5_000}"],
        ids=["base64", "twice", "ascii", "long"],
    )
    def test_metadata_that_cannot_be_read_is_400(self, sender: Sender, raw: str) -> None:
        response = sender.request("POST", "/tus/", Upload_Length=5, Upload_Metadata=raw.encode().decode("latin-1"))

        assert response.status_code == 400
        assert not Upload.objects.exists()

    @pytest.mark.parametrize(
        "fields", [{"purpose": "other"}, {"purpose": ""}, {"target": "x"}, {"target": ""}, {"target": "-1"}]
    )
    def test_what_it_is_for_has_to_be_said(self, sender: Sender, fields: dict[str, Any]) -> None:
        assert sender.create(5, **fields).status_code == 400

    def test_creation_with_upload_says_the_offset(self, sender: Sender) -> None:
        response = sender.create(len(DATA), DATA[:100])

        assert (response.status_code, response["Upload-Offset"]) == (201, "100")
        assert sender.patch(response["Location"], DATA[100:], 100).status_code == 204
        assert NotingReceiver.received[0].sha256 == hashlib.sha256(DATA).hexdigest()

    @pytest.mark.parametrize(("target", "status"), [(HIDDEN, 404), (FORBIDDEN, 403), (REFUSED, 422)])
    def test_the_receiver_may_refuse_before_a_byte_comes(self, sender: Sender, target: int, status: int) -> None:
        response = sender.create(5, target=target)

        assert response.status_code == status
        assert not Upload.objects.exists()
        assert target != REFUSED or response.content == b"This shelf is full."

    def test_without_room_it_is_refused_with_a_sentence(self, sender: Sender, settings: Settings) -> None:
        settings.UPLOAD_DISK_RESERVE_BYTES = 10**18

        response = sender.create(5)

        assert response.status_code == 413
        assert "no room" in response.content.decode()

    def test_what_open_uploads_are_still_to_bring_is_not_promised_twice(
        self, sender: Sender, settings: Settings, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1_500})())

        assert [sender.create(1_000).status_code, sender.create(1_000).status_code] == [201, 413]


class TestChecksum:
    def test_the_protocol_s_own_sample(self, sender: Sender) -> None:
        # Source: tus 1.0.0, checksum: "hello world" has this sha1.
        path = sender.new(11)

        response = sender.patch(path, b"hello world", 0, Upload_Checksum="sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=")

        assert (response.status_code, response["Upload-Offset"]) == (204, "11")

    @pytest.mark.parametrize("algorithm", ["sha1", "sha256"])
    def test_bytes_that_do_not_match_are_460_and_dropped(self, sender: Sender, algorithm: str) -> None:
        path = sender.new(len(DATA))
        sender.patch(path, DATA[:100], 0)
        digest = base64_of(hashlib.new(algorithm, b"something else").digest())

        response = sender.patch(path, DATA[100:], 100, Upload_Checksum=f"{algorithm} {digest}")

        assert response.status_code == 460
        assert sender.head(path)["Upload-Offset"] == "100"
        assert part_path(row_at(path).pk).stat().st_size == 100

    @pytest.mark.parametrize("value", ["md5 AAAA", "crc32 AAAA", "sha1 ???", "sha1 QUJD", "sha1", ""])
    def test_an_unknown_algorithm_or_a_broken_value_is_400(self, sender: Sender, value: str) -> None:
        path = sender.new(10)

        assert sender.patch(path, b"0123456789", 0, Upload_Checksum=value).status_code == 400
        assert sender.head(path)["Upload-Offset"] == "0"


class TestExpiration:
    def test_an_open_upload_says_when_it_expires(self, sender: Sender) -> None:
        created = sender.create(10)

        answers = [created, sender.head(created["Location"]), sender.patch(created["Location"], b"0123", 0)]

        assert all(answer["Upload-Expires"].endswith(" GMT") for answer in answers)

    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_an_expired_upload_is_410_without_an_offset(self, sender: Sender, method: str) -> None:
        path = sender.new(10)
        Upload.objects.update(touched_at=timezone.now() - KEPT_OPEN - timedelta(seconds=1))

        response = sender.request(method, path, b"0123", BYTES_TYPE, Upload_Offset=0)

        assert response.status_code == 410
        assert "Upload-Offset" not in response

    def test_a_second_before_it_is_still_there(self, sender: Sender) -> None:
        path = sender.new(10)
        sender.patch(path, b"0123", 0)
        Upload.objects.update(touched_at=timezone.now() - KEPT_OPEN + timedelta(seconds=10))

        assert sender.patch(path, b"4567", 4).status_code == 204


class TestTermination:
    def test_a_terminated_upload_is_204_then_404_and_its_bytes_are_gone(self, sender: Sender) -> None:
        path = sender.new(10)
        sender.patch(path, b"0123", 0)
        part = part_path(row_at(path).pk)

        assert part.exists()
        assert sender.request("DELETE", path).status_code == 204
        assert sender.head(path).status_code == 404
        assert not part.exists()

    def test_what_was_received_cannot_be_terminated(self, sender: Sender) -> None:
        path = sender.create(len(DATA), DATA)["Location"]

        assert sender.request("DELETE", path).status_code == 403
        assert default_storage.exists(row_at(path).key)
