"""What a tab says it has still to send, how long that is believed, and *That is all*."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta

import pytest
from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks import jobs
from portal.intake.files.announcing import MOST_TABS, announce, say_all_sent
from portal.intake.files.services import check_again
from portal.intake.files.waiting import awaited_of, note_change
from portal.intake.models import Announcement, FileCourse, SongCheck
from portal.mailroom.models import Mail, Message
from portal.people.models import House, User
from tests.factories import make_check, make_client, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db
Callbacks = Callable[..., AbstractContextManager[list[Callable[[], object]]]]


@pytest.fixture
def song() -> Song:
    """One file is here and measured; the check of it would ask for a click."""
    song = make_song(client=make_client(), stage=SongStage.CHECKING)
    make_source(song=song)
    make_check(song=song, report=measured_song("no-click"))
    SongCheck.objects.update(made_at=timezone.now() - timedelta(hours=1))
    return song


@pytest.fixture
def client_user(song: Song) -> User:
    return song.booking.members.get().user


def said() -> tuple[int, int]:
    return Message.objects.count(), Mail.objects.count()


def wait_a_minute(song: Song) -> None:
    House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 60})
    note_change(song)


def test_no_check_speaks_while_a_browser_has_files_to_send(
    song: Song, client_user: User, django_capture_on_commit_callbacks: Callbacks
) -> None:
    announce(song=song, by=client_user, tab="a", files=2)
    jobs.measure(song.pk)
    assert said() == (0, 0)

    with django_capture_on_commit_callbacks(execute=True):
        announce(song=song, by=client_user, tab="a", files=0)
    assert said() == (1, 1)


def test_with_two_browsers_both_have_to_be_done(
    song: Song, client_user: User, django_capture_on_commit_callbacks: Callbacks
) -> None:
    announce(song=song, by=client_user, tab="a", files=1)
    announce(song=song, by=client_user, tab="b", files=1)

    with django_capture_on_commit_callbacks(execute=True):
        announce(song=song, by=client_user, tab="a", files=0)
    assert said() == (0, 0)
    with django_capture_on_commit_callbacks(execute=True):
        announce(song=song, by=client_user, tab="b", files=0)
    assert said() == (1, 1)


def test_a_tab_that_was_closed_in_mid_drop_is_forgotten_and_the_check_comes(
    song: Song, client_user: User, django_capture_on_commit_callbacks: Callbacks
) -> None:
    announce(song=song, by=client_user, tab="a", files=2)
    jobs.sweep()
    assert said() == (0, 0)

    Announcement.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    for _ in range(2):
        with django_capture_on_commit_callbacks(execute=True):
            jobs.sweep()

    assert said() == (1, 1)
    assert not Announcement.objects.exists()


def test_more_that_begins_to_come_while_it_is_measured_keeps_the_check_silent(
    song: Song, client_user: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    SongCheck.objects.all().delete()

    def dropped_meanwhile(_: object) -> object:
        announce(song=song, by=client_user, tab="a", files=2)
        return measured_song("no-click")

    monkeypatch.setattr(jobs, "measured", dropped_meanwhile)
    jobs.measure(song.pk)

    assert said() == (0, 0)
    song.refresh_from_db()
    assert song.stage == SongStage.CHECKING


def test_a_closed_tab_checks_nothing_that_was_checked(
    song: Song, client_user: User, django_capture_on_commit_callbacks: Callbacks
) -> None:
    jobs.measure(song.pk)
    announce(song=song, by=client_user, tab="a", files=1)

    with django_capture_on_commit_callbacks() as started:
        announce(song=song, by=client_user, tab="a", files=0)

    assert not started


def test_one_person_has_so_many_tabs_at_the_most(song: Song, client_user: User) -> None:
    for number in range(MOST_TABS + 5):
        announce(song=song, by=client_user, tab=f"tab-{number}", files=1)

    assert Announcement.objects.count() == MOST_TABS
    assert Announcement.objects.filter(tab=f"tab-{MOST_TABS + 4}").exists()


def test_that_is_all_ends_the_quiet_time(
    song: Song, client_user: User, django_capture_on_commit_callbacks: Callbacks
) -> None:
    wait_a_minute(song)
    jobs.measure(song.pk)
    assert said() == (0, 0)

    with django_capture_on_commit_callbacks(execute=True):
        assert say_all_sent(song=song, by=client_user) == ()

    assert said() == (1, 1)


def test_that_is_all_does_not_cut_off_what_is_on_its_way(song: Song, client_user: User) -> None:
    wait_a_minute(song)
    announce(song=song, by=client_user, tab="a", files=2)

    awaited = say_all_sent(song=song, by=client_user)

    assert [(one.code, one.count) for one in awaited] == [("queued", 2)]
    announce(song=song, by=client_user, tab="a", files=1)
    assert FileCourse.objects.get().all_sent_at is not None


def test_what_is_dropped_after_it_is_waited_for_again(song: Song, client_user: User) -> None:
    wait_a_minute(song)
    say_all_sent(song=song, by=client_user)

    announce(song=song, by=client_user, tab="a", files=3)

    assert FileCourse.objects.get().all_sent_at is None


def test_that_is_all_pressed_twice_is_one_line_in_the_timeline(song: Song, client_user: User) -> None:
    lines = song.timeline.count()
    for _ in range(2):
        say_all_sent(song=song, by=client_user)

    assert song.timeline.count() == lines + 1


def test_a_check_that_was_made_has_the_next_files_waited_for(song: Song, client_user: User) -> None:
    wait_a_minute(song)
    say_all_sent(song=song, by=client_user)

    jobs.measure(song.pk)

    assert FileCourse.objects.get().all_sent_at is None


def test_what_was_checked_is_not_waited_for_again_by_what_follows_an_answer(song: Song, client_user: User) -> None:
    wait_a_minute(song)
    say_all_sent(song=song, by=client_user)
    jobs.measure(song.pk)

    assert check_again(song.pk)
    assert awaited_of(song) == ()
    note_change(song)
    assert [one.code for one in awaited_of(song)] == ["quiet"]
