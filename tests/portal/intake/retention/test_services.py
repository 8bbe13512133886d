"""How long originals stay: the notice, the removal, asking, extending, letting go."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.bookings.models import Booking
from portal.bookings.stages import BookingStage, SongStage
from portal.intake import tasks
from portal.intake.errors import KeepingError
from portal.intake.models import Keeping, SentZip, SourceFile
from portal.intake.retention import services as retention
from portal.mailroom.models import Mail
from portal.people.models import House, User
from portal.uploads import parts
from portal.uploads.models import Upload
from tests.factories import (
    make_booking,
    make_delivery,
    make_rough_mix,
    make_sent_zip,
    make_song,
    make_source,
    make_track,
    store_content,
)
from tests.portal.intake.reading import read

pytestmark = pytest.mark.django_db
OVER_SINCE = datetime(2026, 3, 2, 12, tzinfo=UTC)
# 30 days of keeping and 10 of notice: the e-mail on day 20, the removal on day 30.
KEPT, NOTICE = 30, 10
ALL = (b"zip", b"bass", b"keys", b"old keys")
Run = Callable[[float], None]


class Clock:
    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = OVER_SINCE
        monkeypatch.setattr("django.utils.timezone.now", lambda: self.now)

    def day(self, number: float) -> None:
        self.now = OVER_SINCE + timedelta(days=number)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


@pytest.fixture
def booking(client_user: User, drummer: User, clock: Clock) -> Booking:
    """Closed, with two files, one of which has an earlier version, and the zip that one came in."""
    House.objects.update_or_create(pk=1, defaults={"keep_originals_days": KEPT, "notice_days": NOTICE})
    booking = make_booking(client=client_user, drummer=drummer, title="Thursday Ladder Behind Soup")
    song = make_song(booking=booking, stage=SongStage.ACCEPTED)
    sent = make_sent_zip(song=song, content=b"zip", state=SentZip.State.UNPACKED)
    for name, content, fields in (
        ("bass.wav", b"bass", {"zip": sent, "zip_entry": 0}),
        ("keys.wav", b"keys", {}),
        ("keys.wav", b"old keys", {"removed_at": OVER_SINCE, "left_as": "replaced"}),
    ):
        sha256 = store_content(content)
        make_source(song=song, name=name, sha256=sha256, key=key_of(sha256), size_bytes=len(content), **fields)
    Booking.objects.filter(pk=booking.pk).update(stage=BookingStage.CLOSED, turn="nobody", turn_since=OVER_SINCE)
    booking.refresh_from_db()
    return booking


@pytest.fixture
def run(booking: Booking, clock: Clock, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks) -> Run:
    """Beat's job on some day, twice: the second run changes nothing."""

    def on_day(number: float) -> None:
        clock.day(number)
        for _ in range(2):
            with django_capture_on_commit_callbacks(execute=True):
                tasks.keep_house()

    return on_day


def key_of(sha256: str) -> str:
    return f"originals/{sha256[:2]}/{sha256}"


def stored(*contents: bytes) -> list[bool]:
    return [default_storage.exists(key_of(hashlib.sha256(content).hexdigest())) for content in contents]


def lines(booking: Booking) -> list[str]:
    return [text for text in booking.timeline.values_list("text", flat=True) if "source files" in text]


class TestNoticeAndRemoval:
    def test_nothing_happens_before_the_notice_is_due(self, booking: Booking, run: Run) -> None:
        run(19.9)
        assert not Keeping.objects.exists()
        assert not Mail.objects.exists()

    def test_both_sides_have_one_letter_ten_days_before(
        self, booking: Booking, run: Run, client_user: User, drummer: User
    ) -> None:
        run(20)
        assert sorted(mail.to for mail in Mail.objects.all()) == sorted([client_user.email, drummer.email])
        letter = Mail.objects.get(to=client_user.email)
        assert letter.subject == "“Thursday Ladder Behind Soup”: the files are kept until 1 April 2026 (UTC)"
        assert "(3 files, 16 bytes) are kept until 1 April 2026 (UTC)" in letter.body
        assert lines(booking) == ["announced that the source files are removed after 1 April 2026 (UTC)"]
        assert all(stored(*ALL))

    def test_then_they_go_and_the_timeline_says_so(self, booking: Booking, run: Run) -> None:
        run(20)
        run(29.9)
        assert all(stored(*ALL))
        run(30)
        assert not any(stored(*ALL))
        assert not SourceFile.objects.filter(gone_at=None).exists()
        assert lines(booking)[1:] == ["removed the source files: 3 files, 16 bytes. Both sides had been notified"]

    def test_a_house_whose_beat_stood_still_gives_its_notice_first_all_the_same(
        self, booking: Booking, run: Run
    ) -> None:
        run(200)
        assert all(stored(*ALL))
        run(209.9)
        assert all(stored(*ALL))
        run(210)
        assert not any(stored(*ALL))

    def test_a_house_that_keeps_them_for_good(self, booking: Booking, run: Run) -> None:
        run(20)
        House.objects.update(keep_originals_days=0)
        run(4_000)
        assert all(stored(*ALL))

    @pytest.mark.parametrize("stage", [BookingStage.WORKING, BookingStage.DELIVERED])
    def test_a_booking_that_is_not_over(self, booking: Booking, run: Run, stage: BookingStage) -> None:
        Booking.objects.update(stage=stage)
        run(200)
        assert not Keeping.objects.exists()


class TestSharedContent:
    def test_what_another_booking_names_stays(self, booking: Booking, run: Run) -> None:
        sha256 = store_content(b"bass")
        make_source(song=make_song(), sha256=sha256, key=key_of(sha256))
        run(20)
        run(30)
        assert stored(*ALL) == [False, True, False, False]

    def test_what_was_delivered_or_mixed_stays(self, booking: Booking, run: Run) -> None:
        song = booking.songs.get()
        make_track(delivery=make_delivery(song=song), content=b"bass")
        make_rough_mix(song=song, content=b"keys")
        run(20)
        run(30)
        assert stored(*ALL) == [False, True, True, False]

    def test_what_is_being_sent_once_more_right_now_stays(self, booking: Booking, run: Run, client_user: User) -> None:
        sha256 = store_content(b"bass")
        Upload.objects.create(
            owner=client_user, purpose="source", target_id=1, length_bytes=4, key=key_of(sha256), sha256=sha256
        )
        run(20)
        run(30)
        assert stored(*ALL) == [False, True, False, False]

    def test_what_is_locked_goes_the_next_time(self, booking: Booking, run: Run) -> None:
        run(20)
        with parts.locked(store_content(b"bass")):
            run(30)
        assert stored(*ALL) == [False, True, False, False]
        run(30.1)
        assert not any(stored(*ALL))


class TestAsking:
    def test_while_the_client_asks_nothing_goes(
        self, booking: Booking, run: Run, client_user: User, drummer: User
    ) -> None:
        run(20)
        for _ in range(2):
            retention.ask_to_keep(booking=booking, by=client_user)
        run(100)
        assert all(stored(*ALL))
        assert Mail.objects.filter(subject__contains="asks you to keep").count() == 1
        assert lines(booking)[1:] == ["asked to keep the source files"]

    def test_before_a_notice_there_is_nothing_to_ask(self, booking: Booking, client_user: User) -> None:
        with pytest.raises(KeepingError, match="don’t have to do anything yet"):
            retention.ask_to_keep(booking=booking, by=client_user)

    def test_one_press_extends_and_tells_the_client(
        self, booking: Booking, run: Run, client_user: User, drummer: User
    ) -> None:
        run(20)
        retention.ask_to_keep(booking=booking, by=client_user)
        retention.extend(booking=booking, by=drummer)
        assert Mail.objects.filter(to=client_user.email, body__contains="another e-mail").count() == 1
        run(49.9)
        assert Mail.objects.filter(to=client_user.email, subject__contains="kept until").count() == 2
        run(50)
        assert Mail.objects.filter(to=client_user.email, subject__contains="kept until").count() == 3
        assert all(stored(*ALL))
        run(60)
        assert not any(stored(*ALL))

    def test_extending_before_a_notice_says_it_in_the_timeline_alone(
        self, booking: Booking, run: Run, drummer: User
    ) -> None:
        retention.extend(booking=booking, by=drummer)
        run(49.9)
        assert not Mail.objects.exists()
        assert lines(booking) == ["extended the retention of the source files until 1 May 2026 (UTC)"]

    def test_letting_go_begins_with_a_new_notice(
        self, booking: Booking, run: Run, client_user: User, drummer: User
    ) -> None:
        run(20)
        retention.let_go(booking=booking, by=drummer)
        assert Keeping.objects.get().noticed_at is not None
        retention.ask_to_keep(booking=booking, by=client_user)
        retention.let_go(booking=booking, by=drummer)
        run(25)
        assert Mail.objects.filter(to=client_user.email).count() == 2
        run(34.9)
        assert all(stored(*ALL))
        run(35)
        assert not any(stored(*ALL))

    def test_what_is_gone_cannot_be_kept(self, booking: Booking, run: Run, drummer: User) -> None:
        run(20)
        run(30)
        with pytest.raises(KeepingError, match="already been removed"):
            retention.extend(booking=booking, by=drummer)

    def test_nor_what_is_not_over(self, booking: Booking, drummer: User) -> None:
        Booking.objects.update(stage=BookingStage.WORKING)
        with pytest.raises(KeepingError, match="after the booking is over"):
            retention.extend(booking=booking, by=drummer)


class TestPage:
    @pytest.fixture(autouse=True)
    def in_time(self, clock: Clock) -> None:
        """Sessions are of the same day."""

    def page(self, client: Client, user: User, booking: Booking) -> str:
        client.force_login(user)
        part = read(client, f"/bookings/{booking.pk}/").partition('id="originals"')[2].split("</section>")[0]
        return " ".join(re.sub(r"</?time[^>]*>", "", part).split())

    def test_each_state_is_said_to_both_sides(
        self, client: Client, booking: Booking, run: Run, client_user: User, drummer: User
    ) -> None:
        assert "3 files, 16 bytes: kept until 1 April 2026." in self.page(client, client_user, booking)
        assert "Keep 30 days longer" in self.page(client, drummer, booking)
        run(20)
        assert "Please keep them" in self.page(client, client_user, booking)
        client.force_login(client_user)
        client.post(f"/bookings/{booking.pk}/originals/ask/")
        assert f"{client_user.name} asked on 22 March 2026 to keep them" in self.page(client, drummer, booking)
        client.post(f"/bookings/{booking.pk}/originals/let-go/")
        assert "Do not keep them" not in self.page(client, drummer, booking)
        run(21)
        run(31)
        assert "were removed on 2 April 2026" in self.page(client, client_user, booking)

    def test_a_house_that_keeps_for_good_says_so(self, client: Client, booking: Booking, client_user: User) -> None:
        House.objects.update(keep_originals_days=0)
        assert "kept forever" in self.page(client, client_user, booking)

    def test_a_booking_at_work_says_nothing(self, client: Client, booking: Booking, client_user: User) -> None:
        Booking.objects.update(stage=BookingStage.WORKING)
        assert self.page(client, client_user, booking) == ""

    def test_what_is_gone_is_said_and_never_a_broken_download(
        self, client: Client, booking: Booking, run: Run, client_user: User
    ) -> None:
        run(20)
        run(30)
        client.force_login(client_user)
        source, sent = SourceFile.objects.get(name="bass.wav"), SentZip.objects.get()
        for path in (f"/files/{source.pk}/", f"/zips/{sent.pk}/"):
            response = client.get(path, follow=True)
            assert "has been removed" in response.content.decode()

    def test_one_press_of_the_drummer_s(
        self, client: Client, booking: Booking, client_user: User, drummer: User
    ) -> None:
        client.force_login(drummer)
        address = f"/bookings/{booking.pk}/originals"
        assert "The files are kept longer." in client.post(f"{address}/keep/", follow=True).content.decode()
        assert "kept until 1 May 2026" in self.page(client, client_user, booking)

    def test_asking_in_vain_is_told(self, client: Client, booking: Booking, client_user: User, drummer: User) -> None:
        address = f"/bookings/{booking.pk}/originals"
        client.force_login(client_user)
        assert "don’t have to do anything yet" in client.post(f"{address}/ask/", follow=True).content.decode()
        Booking.objects.update(stage=BookingStage.WORKING)
        client.force_login(drummer)
        for what in ("keep", "let-go"):
            assert "after the booking is over" in client.post(f"{address}/{what}/", follow=True).content.decode()
