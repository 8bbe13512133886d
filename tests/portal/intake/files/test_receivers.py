from __future__ import annotations

import pytest
from django.http import Http404

from portal.bookings.stages import SongStage
from portal.intake.files.receivers import SourceReceiver
from portal.intake.models import SourceFile
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload
from tests.factories import make_client, make_drummer, make_song

pytestmark = pytest.mark.django_db
FILE = {"file_name": "bass.wav", "length_bytes": 5}


def test_both_sides_of_a_booking_may_send() -> None:
    member = make_client()
    song = make_song(client=member)

    for user in (member, make_drummer()):
        SourceReceiver().check(user=user, target_id=song.pk, **FILE)  # type: ignore[arg-type]


def test_another_s_song_is_not_there() -> None:
    song = make_song(client=make_client())

    for target_id in (song.pk, song.pk + 1_000):
        with pytest.raises(Http404):
            SourceReceiver().check(user=make_client(), target_id=target_id, **FILE)  # type: ignore[arg-type]


def test_a_song_that_closed_while_the_file_came_refuses_it_with_a_sentence() -> None:
    member = make_client()
    song = make_song(client=member, stage=SongStage.ACCEPTED)
    upload = Upload.objects.create(
        owner=member, purpose="source", target_id=song.pk, file_name="late.wav", length_bytes=5
    )

    with pytest.raises(UploadRefusedError, match="no longer accepts files"):
        SourceReceiver().receive(upload=upload)
    assert not SourceFile.objects.exists()


def test_a_member_who_lost_the_seat_while_the_file_came_sends_nothing() -> None:
    member = make_client()
    song = make_song(client=member)
    upload = Upload.objects.create(
        owner=member, purpose="source", target_id=song.pk, file_name="late.wav", length_bytes=5
    )
    song.booking.members.all().delete()

    with pytest.raises(Http404):
        SourceReceiver().receive(upload=upload)
