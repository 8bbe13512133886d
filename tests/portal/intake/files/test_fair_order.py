from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.files.fair_order import next_of
from portal.intake.models import SourceFile
from tests.factories import make_song, make_source

pytestmark = pytest.mark.django_db


def wait(song: Song, name: str, **fields: object) -> SourceFile:
    return make_source(song=song, name=name, status=SourceFile.Status.RECEIVED, report=None, **fields)


def turns(most: int) -> list[str]:
    """Whose file is taken, again and again; each is done at once."""
    names = []
    for number in range(most):
        key = next_of(SourceFile.objects.unclaimed(), began="survey_began_at", tries="survey_tries")
        if key is None:
            break
        began_at = timezone.now() + timedelta(seconds=number)
        SourceFile.objects.filter(pk=key).update(status=SourceFile.Status.SURVEYED, survey_began_at=began_at)
        names.append(SourceFile.objects.get(pk=key).name)
    return names


def test_nothing_waits() -> None:
    assert turns(1) == []


def test_bookings_take_turns_however_much_one_of_them_sent() -> None:
    many, few = make_song(), make_song()
    for number in range(5):
        wait(many, f"many {number}")
    for number in range(2):
        wait(few, f"few {number}")
    assert turns(9) == ["many 0", "few 0", "many 1", "few 1", "many 2", "many 3", "many 4"]


def test_the_songs_of_one_booking_share_its_turns() -> None:
    song, other = make_song(), make_song()
    second = make_song(booking=song.booking)
    for number in range(2):
        wait(song, f"first song {number}")
        wait(second, f"second song {number}")
    wait(other, "other")
    assert turns(3)[1] == "other"


def test_what_was_tried_in_vain_waits_behind_what_was_not() -> None:
    song = make_song()
    wait(song, "bad", survey_tries=1)
    wait(song, "good")
    assert turns(2) == ["good", "bad"]


def test_a_turn_whose_file_was_taken_a_moment_ago_goes_to_the_next_booking() -> None:
    """Two workers look at once. The turn that comes second is not lost: its own file is still there."""
    taken, left = wait(make_song(), "first"), wait(make_song(), "second")
    has_looked: list[str] = []

    def take_meanwhile(execute: Any, sql: str, *more: Any) -> Any:
        found = execute(sql, *more)
        if "MAX(" in sql.upper() and not has_looked:  # the bookings are known, the file is not chosen yet
            has_looked.append(sql)
            SourceFile.objects.claim(taken.pk)
        return found

    with connection.execute_wrapper(take_meanwhile):
        key = next_of(SourceFile.objects.unclaimed(), began="survey_began_at", tries="survey_tries")
    assert has_looked
    assert key == left.pk
