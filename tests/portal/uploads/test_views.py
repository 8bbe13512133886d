"""tus 1.0.0 (2016-03-25), requirement by requirement. The quotes are the protocol's own words."""

from __future__ import annotations

import hashlib
import uuid
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.test import Client

from portal.people.models import User
from portal.uploads import parts
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload
from tests.factories import make_client, make_drummer
from tests.portal.uploads.receiver import REFUSED_LATE, NotingReceiver
from tests.portal.uploads.sending import BYTES_TYPE, Sender, metadata, row_at

DATA = bytes(range(256)) * 4


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
        assert part_path(row_at(path).pk).read_bytes() == DATA[:300]

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

    def test_head_is_423_while_another_connection_stores_the_whole(self, sender: Sender) -> None:
        """The last offset means received: it is not said before that is true."""
        path = sender.new(len(DATA))
        parts.append(row_at(path), LocalPart(row_at(path).pk), [DATA])

        with parts.locked(row_at(path).pk):
            response = sender.head(path)

        assert response.status_code == 423
        assert "Upload-Offset" not in response
        assert sender.head(path)["Upload-Offset"] == str(len(DATA))
        assert row_at(path).state == Upload.State.RECEIVED

    def test_head_answers_while_another_connection_writes(self, sender: Sender) -> None:
        path = sender.new(len(DATA))

        with parts.locked(row_at(path).pk):
            assert sender.head(path).status_code == 200

    def test_options_tells_the_truth_and_needs_no_version(self, client: Client) -> None:
        response = client.options("/tus/")

        assert response.status_code == 204
        assert response["Tus-Version"] == "1.0.0"
        assert (
            response["Tus-Extension"] == "creation,creation-with-upload,checksum,expiration,termination,concatenation"
        )
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


class TestAccess:
    @pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
    def test_another_s_upload_does_not_exist(self, sender: Sender, method: str) -> None:
        path = sender.new(10)

        for stranger in (make_client(), make_drummer()):
            sender.client.force_login(stranger)
            response = sender.request(method, path, b"0123", BYTES_TYPE, Upload_Offset=0)
            assert response.status_code == 404
            assert response.content == (b"" if method == "HEAD" else b"This upload does not exist.")

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
        parts.append(row_at(path), LocalPart(row_at(path).pk), [DATA])

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

    def test_the_original_is_read_only(self, sender: Sender) -> None:
        sender.create(len(DATA), DATA)

        assert Path(default_storage.path(NotingReceiver.received[0].key)).stat().st_mode & 0o777 == 0o444

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
