import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from portal.people.models import House, User, check_time_zone
from tests.factories import make_client, make_drummer

pytestmark = pytest.mark.django_db


def test_addresses_are_kept_in_lower_case_and_found_in_any() -> None:
    user = make_client(email=" Mara@Example.com ")
    assert user.email == "mara@example.com"
    assert User.objects.get_by_natural_key("MARA@example.com") == user


def test_a_superuser_is_a_drummer_of_the_house() -> None:
    user = User.objects.create_superuser("jo@example.com", "ruled paper", name="Jo")
    assert user.is_drummer
    assert user.is_staff


def test_roles() -> None:
    assert make_drummer().is_drummer
    assert not make_client().is_drummer


def test_there_is_one_house() -> None:
    assert House.get() == House.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        House.objects.create(pk=2)


def test_an_unknown_time_zone_is_named() -> None:
    with pytest.raises(ValidationError, match="Mars/Olympus"):
        check_time_zone("Mars/Olympus")
