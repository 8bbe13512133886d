"""tus 1.0.0, concatenation, requirement by requirement."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from portal.uploads import parts, stretch_hashes, tasks
from portal.uploads.expiry import KEPT_OPEN
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload
from tests.factories import make_client
from tests.portal.uploads.receiver import FORBIDDEN, HIDDEN, REFUSED, REFUSED_LATE, NotingReceiver
from tests.portal.uploads.sending import BYTES_TYPE, Sender, base64_of, metadata, row_at

DATA = bytes(range(256)) * 4
FIRST, SECOND = DATA[:300], DATA[300:]


@pytest.fixture
def pair(sender: Sender) -> tuple[str, str]:
    return sender.partial(FIRST), sender.partial(SECOND)


def stored(upload: Upload) -> bytes:
    with default_storage.open(upload.key) as file:
        content: bytes = file.read()
    return content


class TestPartial:
    def test_it_is_created_filled_and_asked_for_like_any_upload(self, sender: Sender) -> None:
        path = sender.partial(FIRST, sent=100)

        head = sender.head(path)

        assert (head["Upload-Concat"], head["Upload-Offset"], head["Upload-Length"]) == ("partial", "100", "300")
        assert sender.patch(path, FIRST[100:], 100)["Upload-Offset"] == "300"

    def test_complete_it_is_handed_to_nobody(self, sender: Sender, pair: tuple[str, str]) -> None:
        Upload.objects.update(touched_at=timezone.now() - timedelta(hours=1))

        tasks.finish_waiting()

        assert NotingReceiver.received == []
        assert sender.head(pair[0])["Upload-Offset"] == "300"

    def test_what_it_is_for_may_be_said_and_is_checked_at_once(self, sender: Sender) -> None:
        def create(target: int) -> int:
            said = metadata(target=target)
            return sender.request(
                "POST", "/tus/", Upload_Length=5, Upload_Concat="partial", Upload_Metadata=said
            ).status_code

        assert [create(target) for target in (HIDDEN, FORBIDDEN, REFUSED, 7)] == [404, 403, 422, 201]

    def test_left_alone_it_expires_complete_or_not(self, sender: Sender, pair: tuple[str, str]) -> None:
        Upload.objects.update(touched_at=timezone.now() - KEPT_OPEN - timedelta(seconds=1))

        assert sender.join(*pair).status_code == 410
        tasks.expire_abandoned()

        assert {upload.state for upload in Upload.objects.all()} == {Upload.State.EXPIRED}
        assert sender.head(pair[0]).status_code == 410
        assert not part_path(row_at(pair[0]).pk).exists()

    def test_terminated_it_is_gone_and_cannot_be_joined(self, sender: Sender, pair: tuple[str, str]) -> None:
        assert sender.request("DELETE", pair[1]).status_code == 204
        assert sender.join(*pair).status_code == 400


class TestFinal:
    @pytest.mark.parametrize("host", ["", "http://testserver"])
    def test_the_parts_become_one_file_in_the_order_named(
        self, sender: Sender, pair: tuple[str, str], host: str
    ) -> None:
        response = sender.join(*(host + path for path in pair), filename="Größe.wav")

        (received,) = NotingReceiver.received
        assert response.status_code == 201
        assert row_at(response["Location"]).pk == received.pk
        assert (received.file_name, received.sha256) == ("Größe.wav", hashlib.sha256(DATA).hexdigest())
        assert stored(received) == DATA

    def test_the_other_order_is_another_file(self, sender: Sender, pair: tuple[str, str]) -> None:
        sender.join(*reversed(pair))

        assert stored(NotingReceiver.received[0]) == SECOND + FIRST

    def test_a_part_may_be_named_twice(self, sender: Sender, pair: tuple[str, str]) -> None:
        assert sender.join(pair[0], pair[1], pair[0]).status_code == 201

        assert stored(NotingReceiver.received[0]) == FIRST + SECOND + FIRST

    def test_head_says_its_parts_as_they_were_named_and_equal_offset_and_length(
        self, sender: Sender, pair: tuple[str, str]
    ) -> None:
        head = sender.head(sender.join(*pair)["Location"])

        assert head["Upload-Concat"] == f"final;{pair[0]} {pair[1]}"
        assert head["Upload-Offset"] == head["Upload-Length"] == str(len(DATA))
        assert head["Upload-Metadata"] == metadata()

    def test_patch_on_it_is_403_and_changes_nothing(self, sender: Sender, pair: tuple[str, str]) -> None:
        path = sender.join(*pair)["Location"]

        assert sender.patch(path, b"more", len(DATA)).status_code == 403
        assert sender.head(path)["Upload-Offset"] == str(len(DATA))
        assert [sender.head(part)["Upload-Offset"] for part in pair] == ["300", str(len(SECOND))]
        assert stored(NotingReceiver.received[0]) == DATA

    def test_bytes_with_its_creation_are_403(self, sender: Sender, pair: tuple[str, str]) -> None:
        response = sender.request(
            "POST", "/tus/", b"more", BYTES_TYPE, Upload_Concat=f"final;{pair[0]}", Upload_Metadata=metadata()
        )

        assert response.status_code == 403

    def test_a_part_that_has_not_come_whole_is_400(self, sender: Sender) -> None:
        assert sender.join(sender.partial(FIRST), sender.partial(SECOND, sent=10)).status_code == 400
        assert NotingReceiver.received == []

    def test_asked_for_again_after_a_lost_answer_it_is_the_same(self, sender: Sender, pair: tuple[str, str]) -> None:
        assert sender.join(*pair)["Location"] == sender.join(*pair)["Location"]
        assert len(NotingReceiver.received) == 1

    def test_parts_that_were_joined_elsewhere_are_410(self, sender: Sender, pair: tuple[str, str]) -> None:
        sender.join(*pair)

        assert sender.join(pair[0]).status_code == 410

    @pytest.mark.parametrize(
        "concat",
        [
            "",
            "final",
            "final;",
            "final; ",
            "partial;",
            "other",
            "final;/tus/",
            "final;/sign-in/",
            "final;nowhere",
            "final;http://[",
            f"final;/tus/{uuid.UUID(int=1)}/",
            "final;" + "x" * 9_000,
        ],
    )
    def test_what_names_no_parts_is_400(self, sender: Sender, concat: str) -> None:
        response = sender.request("POST", "/tus/", Upload_Concat=concat, Upload_Metadata=metadata())

        assert response.status_code == 400

    def test_a_length_beside_its_parts_is_400(self, sender: Sender, pair: tuple[str, str]) -> None:
        response = sender.request(
            "POST",
            "/tus/",
            Upload_Length=len(DATA),
            Upload_Concat=f"final;{' '.join(pair)}",
            Upload_Metadata=metadata(),
        )

        assert response.status_code == 400

    def test_whole_uploads_and_another_s_parts_are_400(self, sender: Sender, pair: tuple[str, str]) -> None:
        assert sender.join(pair[0], sender.new(5)).status_code == 400
        sender.client.force_login(make_client())
        assert sender.join(*pair).status_code == 400

    @pytest.mark.parametrize(("target", "status"), [(HIDDEN, 404), (FORBIDDEN, 403), (REFUSED, 422)])
    def test_the_receiver_is_asked(self, sender: Sender, pair: tuple[str, str], target: int, status: int) -> None:
        assert sender.join(*pair, target=target).status_code == status
        assert row_at(pair[0]).state == Upload.State.OPEN

    def test_nothing_is_left_in_the_upload_folder(self, sender: Sender, pair: tuple[str, str], tmp_path: Path) -> None:
        sender.join(*pair)

        assert list((tmp_path / "uploads").iterdir()) == []

    def test_refused_at_the_end_it_leaves_nothing_either(
        self, sender: Sender, pair: tuple[str, str], tmp_path: Path
    ) -> None:
        assert sender.join(*pair, target=REFUSED_LATE).status_code == 422
        assert list((tmp_path / "uploads").iterdir()) == []


class TestFaults:
    @pytest.fixture
    def half_joined(self, sender: Sender, pair: tuple[str, str], monkeypatch: pytest.MonkeyPatch) -> tuple[str, str]:
        """The process was killed after it had joined the first part."""
        whole = LocalPart.pieces

        def dies_at_the_second(self: LocalPart) -> Iterator[bytes]:
            if self.path == part_path(row_at(pair[1]).pk):
                raise KeyboardInterrupt
            yield from whole(self)

        with monkeypatch.context() as killed:
            killed.setattr(LocalPart, "pieces", dies_at_the_second)
            with pytest.raises(KeyboardInterrupt):
                sender.join(*pair)
        return pair

    def test_asking_again_goes_on_where_a_killed_process_stopped(
        self, sender: Sender, half_joined: tuple[str, str]
    ) -> None:
        final = Upload.objects.exclude(parts=[]).get()
        assert final.offset_bytes == len(FIRST)

        assert sender.join(*half_joined)["Location"] == f"/tus/{final.pk}/"
        assert stored(NotingReceiver.received[0]) == DATA

    def test_beat_finishes_what_a_killed_process_left(self, half_joined: tuple[str, str]) -> None:
        Upload.objects.update(touched_at=timezone.now() - timedelta(hours=1))

        tasks.finish_waiting()

        assert stored(NotingReceiver.received[0]) == DATA

    def test_locked_it_is_423_without_an_offset(self, sender: Sender, half_joined: tuple[str, str]) -> None:
        final = Upload.objects.exclude(parts=[]).get()

        with parts.locked(final.pk):
            response = sender.head(f"/tus/{final.pk}/")

        assert response.status_code == 423
        assert "Upload-Offset" not in response

    def test_a_part_whose_bytes_are_gone_ends_it(self, sender: Sender, half_joined: tuple[str, str]) -> None:
        part_path(row_at(half_joined[1]).pk).unlink()

        assert sender.join(*half_joined).status_code == 410
        assert Upload.objects.exclude(parts=[]).get().state == Upload.State.REFUSED

    def test_a_part_that_was_spoilt_on_the_disk_is_noticed(self, sender: Sender, pair: tuple[str, str]) -> None:
        path = part_path(row_at(pair[0]).pk)
        path.write_bytes(b"!" + path.read_bytes()[1:])

        assert sender.join(*pair).status_code == 500
        assert NotingReceiver.received == []
        assert Upload.objects.exclude(parts=[]).get().state == Upload.State.REFUSED

    def test_a_checksum_proves_a_part(self, sender: Sender) -> None:
        path = sender.partial(FIRST, sent=0)
        digest = base64_of(hashlib.sha256(b"other").digest())

        assert sender.patch(path, FIRST, 0, Upload_Checksum=f"sha256 {digest}").status_code == 460
        assert sender.head(path)["Upload-Offset"] == "0"
        assert stretch_hashes.read(row_at(path).pk) == []
