"""A client's address follows safely: confirmed by who reads the new one, told to the old one."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.mailroom.models import Mail
from portal.people import addresses
from portal.people.errors import AddressChangeError
from portal.people.models import AddressChange, User
from tests.factories import PASSWORD, make_booking, make_client, make_drummer, make_invited_client

pytestmark = pytest.mark.django_db
NEW = "mara.new@example.com"


def correct(client: Client, person: User, *, name: str = "", email: str = "") -> int:
    typed = {"name": name or person.name, "email": email or person.email}
    return client.post(reverse("people:client", args=[person.pk]), typed).status_code


def link_to(address: str) -> str:
    found = re.search(r"/address/\S+", Mail.objects.filter(to=address).latest("pk").body)
    assert found is not None
    return found[0]


def said(person: User) -> list[str]:
    return list(person.memberships.get().booking.timeline.values_list("text", flat=True))


@pytest.fixture
def mara(client: Client) -> User:
    person = make_client(name="Mara", email="mara@example.com")
    client.force_login(make_booking(client=person).created_by)
    return person


def test_a_new_address_counts_once_it_is_confirmed(client: Client, mara: User) -> None:
    assert correct(client, mara, email=NEW.upper()) == 302
    mara.refresh_from_db()
    assert mara.email == "mara@example.com"
    link = link_to(NEW)
    stranger = Client()
    assert "Confirm your new address" in stranger.get(link).content.decode()
    mara.refresh_from_db()
    assert mara.email == "mara@example.com"  # a program that previews links confirms nothing

    assert "is confirmed" in stranger.post(link).content.decode()
    mara.refresh_from_db()
    assert mara.email == NEW
    assert Mail.objects.filter(to="mara@example.com", subject__contains="has changed").count() == 1
    assert stranger.post(link).status_code == 410
    assert Client().login(username=NEW, password=PASSWORD)
    assert not Client().login(username="mara@example.com", password=PASSWORD)
    assert said(mara)[-2:] == ["asked Mara to confirm a new e-mail address", "confirmed the new e-mail address"]


def test_the_newest_link_alone_counts(client: Client, mara: User) -> None:
    correct(client, mara, email="first@example.com")
    first = link_to("first@example.com")
    correct(client, mara, email=NEW)
    assert Client().post(first).status_code == 410
    assert Client().post(link_to(NEW)).status_code == 200


def test_a_link_expires(client: Client, mara: User) -> None:
    correct(client, mara, email=NEW)
    AddressChange.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert "has expired" in Client().get(link_to(NEW)).content.decode()
    assert Client().get(reverse("people:address", args=["nonsense"])).status_code == 410


def test_another_accounts_address_is_refused_in_words(client: Client, mara: User) -> None:
    make_client(email=NEW)
    assert correct(client, mara, email=NEW) == 422
    assert not AddressChange.objects.exists()


def test_an_address_that_was_taken_meanwhile_is_refused(client: Client, mara: User) -> None:
    correct(client, mara, email=NEW)
    link = link_to(NEW)
    make_client(email=NEW)
    assert "another account" in Client().post(link).content.decode()
    mara.refresh_from_db()
    assert mara.email == "mara@example.com"


def test_who_was_only_invited_has_nothing_to_confirm() -> None:
    person, drummer = make_invited_client(), make_drummer()
    asked = addresses.change_address(client=person, email=NEW, by=drummer, address_of_link="http://house.example")
    person.refresh_from_db()
    assert (asked, person.email) == (False, NEW)
    assert not Mail.objects.exists()


def test_a_name_is_corrected_with_a_line(client: Client, mara: User) -> None:
    for _ in range(2):
        correct(client, mara, name="Mára Ø")
    mara.refresh_from_db()
    assert (mara.name, mara.folded) == ("Mára Ø", "mara ø")
    assert said(mara).count("changed the client’s name from Mara to Mára Ø") == 1


def test_a_drummers_address_is_not_corrected_here(client: Client, mara: User) -> None:
    assert client.get(reverse("people:client", args=[make_drummer().pk])).status_code == 404
    client.force_login(mara)
    assert client.get(reverse("people:client", args=[mara.pk])).status_code == 403


def test_the_same_address_changes_nothing(mara: User) -> None:
    assert not addresses.change_address(client=mara, email=mara.email, by=make_drummer(), address_of_link="")
    with pytest.raises(AddressChangeError):
        addresses.confirm_address(token="none")
