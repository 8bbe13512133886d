from pathlib import Path

import pytest
from django.contrib.auth import authenticate
from pytest_django import DjangoCaptureOnCommitCallbacks, Settings

from portal.bookings.models import Booking, Song
from portal.demo import jobs
from portal.demo.further_on import FURTHER_ON
from portal.demo.seed import seed_house
from portal.people.models import User

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_folder(settings: Settings, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


@pytest.mark.parametrize(("key", "is_drummer"), [("drummer", True), ("client", False), ("other_client", False)])
def test_each_of_the_three_can_sign_in(key: str, is_drummer: bool) -> None:
    who = seed_house()[key]

    user = authenticate(username=who["email"], password=who["password"])

    assert isinstance(user, User)
    assert user.is_drummer is is_drummer


def test_the_two_clients_share_no_booking() -> None:
    house = seed_house()

    client, other = (User.objects.get(email=house[key]["email"]) for key in ("client", "other_client"))

    assert Booking.objects.visible_to(client).exists()
    assert Booking.objects.visible_to(other).exists()
    assert not Booking.objects.visible_to(client).filter(pk__in=Booking.objects.visible_to(other)).exists()


def test_the_addresses_lead_to_the_clients_booking_and_song() -> None:
    house = seed_house()
    client = User.objects.get(email=house["client"]["email"])

    assert house["booking"].removeprefix(house["url"]) in {
        booking.get_absolute_url() for booking in Booking.objects.visible_to(client)
    }
    assert house["song"].removeprefix(house["url"]) in {
        song.get_absolute_url() for song in Song.objects.visible_to(client)
    }


def test_a_second_run_changes_nothing() -> None:
    first = seed_house()
    counts = User.objects.count(), Booking.objects.count(), Song.objects.count()

    assert seed_house() == first
    assert (User.objects.count(), Booking.objects.count(), Song.objects.count()) == counts


def test_a_small_house_has_two_bookings() -> None:
    seed_house(small=True)

    assert Booking.objects.count() == 2


def test_every_song_that_was_sent_is_played_once_the_house_stands(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks, monkeypatch: pytest.MonkeyPatch
) -> None:
    played: list[str] = []
    monkeypatch.setattr(jobs, "send_stems", lambda song, slug: played.append(slug))

    with django_capture_on_commit_callbacks(execute=True):
        seed_house()

    assert played == ["wet-stairs", "damp-receipt", *(further.slug for further in FURTHER_ON)]
