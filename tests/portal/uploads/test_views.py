"""tus 1.0.0 (2016-03-25), requirement by requirement. The quotes are the protocol's own words."""

from __future__ import annotations

import hashlib
import uuid
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal.people.models import User
from portal.uploads import parts
from portal.uploads.models import Upload
from portal.uploads.services import KEPT_OPEN
from tests.factories import make_client, make_drummer
from tests.portal.uploads.receiver import FORBIDDEN, HIDDEN, REFUSED, REFUSED_LATE, NotingReceiver
from tests.portal.uploads.sending import BYTES_TYPE, Sender, base64_of, metadata

DATA = bytes(range(256)) * 4


def row_at(path: str) -> Upload:
    return Upload.objects.get(pk=path.strip("/").rpartition("/")[2])


class TestCore:
    @pytest.mark.parametrize("version", [None, "0.2.2", "2.0.0"])
    @pytest.mark.parametrize("method", ["POST", "HEAD", "PATCH", "DELETE"])
    def test_other_versions_get_412_with_ours_and_are_not_processed(
        self, sender: Sender, method: str, version: str | None
    ) -> None:
        path = "/tus/" if method == "POST" else sender.new(len(DATA))
        uploads_before = Upload.objects.count()

        response = sender.request(
            method, path, DATA, BYTES_TYPE, Tus_Resumable=version, Upload_Offset=0, Upload_Length=1024
        )

        assert response.status_code == 412
        assert response["Tus-Version"] == "1.0.0"
        assert Upload.objects.count() == uploads_before
        assert not Upload.objects.filter(offset_bytes__gt=0).exists()

    def test_every_answer_says_the_version(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        answers = [sender.head(path), sender.patch(path, b"x", 5), sender.request("GET", path), sender.head("/tus/")]

        assert {answer["Tus-Resumable"] for answer in answers} == {"1.0.0"}

    def test_head_says_offset_and_length_and_is_not_stored(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        response = sender.head(path)

        assert response.status_code == 200
        assert response["Upload-Offset"] == "0"
        assert response["Upload-Length"] == str(len(DATA))
        assert "no-store" in response["Cache-Control"]

    def test_head_echoes_the_metadata(self, sender: Sender) -> None:
        path = sender.new(10, filename="Größe.wav")

        assert sender.head(path)["Upload-Metadata"] == metadata(filename="Größe.wav")

    def test_head_on_a_finished_upload_says_its_offset(self, sender: Sender) -> None:
        path = sender.create(len(DATA), DATA)["Location"]

        assert sender.head(path)["Upload-Offset"] == str(len(DATA))

    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_an_unknown_upload_is_404_without_an_offset(self, sender: Sender, method: str) -> None:
        response = sender.request(method, f"/tus/{uuid.uuid4()}/", b"x", BYTES_TYPE, Upload_Offset=0)

        assert response.status_code == 404
        assert "Upload-Offset" not in response

    def test_patch_at_the_offset_adds_and_says_the_new_offset(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        first = sender.patch(path, DATA[:300], 0)
        second = sender.patch(path, DATA[300:], 300)

        assert (first.status_code, first["Upload-Offset"]) == (204, "300")
        assert (second.status_code, second["Upload-Offset"]) == (204, str(len(DATA)))

    @pytest.mark.parametrize("offset", [0, 299, 301, 5_000])
    def test_patch_at_another_offset_is_409_and_changes_nothing(self, sender: Sender, offset: int) -> None:
        path = sender.new(len(DATA))
        sender.patch(path, DATA[:300], 0)

        response = sender.patch(path, b"wrong", offset)

        assert response.status_code == 409
        assert sender.head(path)["Upload-Offset"] == "300"
        assert parts.part_path(row_at(path).pk).read_bytes() == DATA[:300]

    @pytest.mark.parametrize("content_type", ["", "application/octet-stream", "text/plain"])
    def test_patch_of_another_content_type_is_415(self, sender: Sender, content_type: str) -> None:
        path = sender.new(len(DATA))

        response = sender.request("PATCH", path, DATA, content_type, Upload_Offset=0)

        assert response.status_code == 415
        assert sender.head(path)["Upload-Offset"] == "0"

    @pytest.mark.parametrize("offset", [None, "", "-1", "ten", "1.5", "٣", "9" * 40])
    def test_patch_without_a_readable_offset_is_400(self, sender: Sender, offset: str | None) -> None:
        path = sender.new(len(DATA))

        assert sender.request("PATCH", path, DATA, BYTES_TYPE, Upload_Offset=offset).status_code == 400

    def test_more_bytes_than_announced_are_413_and_none_counts(self, sender: Sender) -> None:
        path = sender.new(10)

        response = sender.patch(path, b"0123456789+", 0)

        assert response.status_code == 413
        assert sender.head(path)["Upload-Offset"] == "0"

    def test_patch_with_nothing_in_it_is_204(self, sender: Sender) -> None:
        path = sender.new(10)

        assert sender.patch(path, b"", 0)["Upload-Offset"] == "0"

    def test_patch_at_the_end_of_a_finished_upload_is_204(self, sender: Sender) -> None:
        path = sender.create(len(DATA), DATA)["Location"]

        assert sender.patch(path, b"", len(DATA)).status_code == 204
        assert len(NotingReceiver.received) == 1

    def test_a_locked_upload_is_423(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        with parts.locked(row_at(path).pk):
            response = sender.patch(path, DATA, 0)

        assert response.status_code == 423
        assert sender.patch(path, DATA, 0).status_code == 204

    def test_head_answers_while_another_connection_writes(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        with parts.locked(row_at(path).pk):
            assert sender.head(path).status_code == 200

    def test_options_tells_the_truth_and_needs_no_version(self, client: Client) -> None:
        response = client.options("/tus/")

        assert response.status_code == 204
        assert response["Tus-Version"] == "1.0.0"
        assert response["Tus-Extension"] == "creation,creation-with-upload,checksum,expiration,termination"
        assert response["Tus-Checksum-Algorithm"] == "sha1,sha256"
        assert response["Tus-Max-Size"] == str(settings.LARGEST_UPLOAD_BYTES)

    def test_the_named_method_overrides_the_real_one(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        response = sender.request("POST", path, DATA, BYTES_TYPE, Upload_Offset=0, X_HTTP_Method_Override="PATCH")

        assert response["Upload-Offset"] == str(len(DATA))

    def test_a_method_that_passes_the_cross_site_check_cannot_name_one_that_would_not(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        response = sender.request("GET", path, X_HTTP_Method_Override="DELETE")

        assert response.status_code == 400
        assert sender.head(path).status_code == 200

    @pytest.mark.parametrize(("path", "method"), [("/tus/", "GET"), ("/tus/", "PATCH"), ("", "GET"), ("", "PUT")])
    def test_other_methods_are_405(self, sender: Sender, path: str, method: str) -> None:
        response = sender.request(method, path or sender.new(10))

        assert response.status_code == 405
        assert "OPTIONS" in response["Allow"]


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
        assert "one file may have up to 2.0" in response.content.decode()
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
        assert parts.part_path(row_at(path).pk).stat().st_size == 100

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
        Upload.objects.update(touched_at=timezone.now() - KEPT_OPEN + timedelta(seconds=10))

        assert sender.patch(path, b"0123", 0).status_code == 204


class TestTermination:
    def test_a_terminated_upload_is_204_then_404_and_its_bytes_are_gone(self, sender: Sender) -> None:
        path = sender.new(10)
        sender.patch(path, b"0123", 0)
        part = parts.part_path(row_at(path).pk)

        assert part.exists()
        assert sender.request("DELETE", path).status_code == 204
        assert sender.head(path).status_code == 404
        assert not part.exists()

    def test_what_was_received_cannot_be_terminated(self, sender: Sender) -> None:
        path = sender.create(len(DATA), DATA)["Location"]

        assert sender.request("DELETE", path).status_code == 403
        assert default_storage.exists(row_at(path).key)


class TestAccess:
    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_another_s_upload_does_not_exist(self, sender: Sender, method: str) -> None:
        path = sender.new(10)

        for stranger in (make_client(), make_drummer()):
            sender.client.force_login(stranger)
            response = sender.request(method, path, b"0123", BYTES_TYPE, Upload_Offset=0)
            assert response.status_code == 404
            assert response.content == (b"" if method == "HEAD" else b"There is no such upload.")

    @pytest.mark.parametrize("method", ["POST", "HEAD", "PATCH", "DELETE"])
    def test_nobody_gets_403(self, sender: Sender, method: str) -> None:
        path = "/tus/" if method == "POST" else sender.new(10)
        sender.client.logout()

        assert sender.request(method, path, b"0123", BYTES_TYPE, Upload_Offset=0).status_code == 403

    def test_a_page_elsewhere_cannot_send_for_somebody(self, owner: User) -> None:
        client = Client(enforce_csrf_checks=True)
        client.force_login(owner)

        response = Sender(client).create(10)

        assert response.status_code == 403
        assert not Upload.objects.exists()


class TestReceived:
    def test_asking_for_the_offset_finishes_what_a_killed_process_left(self, sender: Sender) -> None:
        path = sender.new(len(DATA))
        parts.append(row_at(path), [DATA])

        assert sender.head(path)["Upload-Offset"] == str(len(DATA))
        assert row_at(path).state == Upload.State.RECEIVED

    def test_the_original_lies_under_the_name_of_its_content(self, sender: Sender) -> None:
        sender.create(len(DATA), DATA, filename="../../../etc/passwd")

        (upload,) = NotingReceiver.received
        sha256 = hashlib.sha256(DATA).hexdigest()
        assert upload.key == f"originals/{sha256[:2]}/{sha256}"
        assert upload.file_name == "passwd"
        with default_storage.open(upload.key) as file:
            assert file.read() == DATA

    def test_the_same_content_twice_is_one_object_handed_on_twice(self, sender: Sender, tmp_path: Path) -> None:
        sender.create(len(DATA), DATA)
        sender.create(len(DATA), DATA, filename="again.wav")

        assert len(NotingReceiver.received) == 2
        assert len([path for path in (tmp_path / "store").rglob("*") if path.is_file()]) == 1

    def test_a_receiver_that_refuses_at_the_end_is_told_in_its_words(self, sender: Sender) -> None:
        path = sender.new(len(DATA), target=REFUSED_LATE)

        response = sender.patch(path, DATA, 0)

        assert (response.status_code, response.content) == (422, b"The shelf filled up meanwhile.")
        assert row_at(path).state == Upload.State.REFUSED
        assert sender.patch(path, b"", len(DATA)).status_code == 410

    def test_nothing_is_left_in_the_upload_folder(self, sender: Sender, tmp_path: Path) -> None:
        sender.create(len(DATA), DATA)

        assert list((tmp_path / "uploads").iterdir()) == []
