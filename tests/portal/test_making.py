"""One worker at a time makes what a row asks for; copies to play from stand for all that is made so."""

from datetime import timedelta

import pytest
from django.utils import timezone

from portal.lanes.models import PlayCopy
from portal.making import LEFT_AFTER, MOST_TRIES, left_alone, make_once
from portal.uploads import parts
from tests.factories import make_source

pytestmark = pytest.mark.django_db
WHY = "could not be made"


@pytest.fixture
def copy() -> PlayCopy:
    return PlayCopy.objects.create(source=make_source())


def made_from(copy: PlayCopy) -> list[int]:
    made: list[PlayCopy] = []
    make_once(PlayCopy.objects.all(), copy.pk, made.append, stopped=WHY)
    copy.refresh_from_db()
    return [one.pk for one in made]


def test_what_waits_is_made_and_the_try_is_counted_before(copy: PlayCopy) -> None:
    assert (made_from(copy), copy.tries) == ([copy.pk], 1)


def test_a_second_worker_leaves_it_to_the_first(copy: PlayCopy) -> None:
    with parts.locked(f"playcopy-{copy.pk}"):
        assert (made_from(copy), copy.tries) == ([], 0)


@pytest.mark.parametrize("state", [PlayCopy.State.MADE, PlayCopy.State.FAILED])
def test_what_is_over_is_not_made_again(copy: PlayCopy, state: str) -> None:
    PlayCopy.objects.update(state=state)
    assert (made_from(copy), copy.tries, copy.state) == ([], 0, state)


def test_what_is_gone_is_nothing(copy: PlayCopy) -> None:
    PlayCopy.objects.filter(pk=copy.pk).delete()
    made: list[PlayCopy] = []
    make_once(PlayCopy.objects.all(), copy.pk, made.append, stopped=WHY)
    assert made == []


def test_what_ends_its_workers_is_given_up_in_words(copy: PlayCopy) -> None:
    PlayCopy.objects.update(tries=MOST_TRIES)
    assert (made_from(copy), copy.state, copy.trouble) == ([], PlayCopy.State.FAILED, WHY)


def test_what_gives_no_sign_of_life_is_left_alone(copy: PlayCopy) -> None:
    assert left_alone(PlayCopy.objects.all()) == []
    PlayCopy.objects.update(began_at=timezone.now() - LEFT_AFTER - timedelta(seconds=1))
    assert left_alone(PlayCopy.objects.all()) == [copy.pk]
    PlayCopy.objects.update(state=PlayCopy.State.MADE)
    assert left_alone(PlayCopy.objects.all()) == []
