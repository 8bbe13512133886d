from datetime import timedelta

import pytest
from django.utils import timezone

from portal.people.errors import (
    DrummerAddressError,
    InvitationExpiredError,
    InvitationUnknownError,
    InvitationUsedError,
)
from portal.people.models import INVITATION_LASTS, Invitation, User
from portal.people.services import find_invitation, find_or_add_client, invite, take_invitation
from tests.factories import make_client, make_drummer, make_invited_client

pytestmark = pytest.mark.django_db


def send_invitation(email: str = "mara@example.com") -> tuple[User, Invitation, str]:
    user, invitation, token = invite(email=email, name="Mara", sent_by=make_drummer(), lands_on="/bookings/7/")
    assert invitation is not None
    assert token is not None
    return user, invitation, token


def test_an_address_is_one_person_however_it_is_written() -> None:
    first = find_or_add_client(email="Mara@Example.com", name="Mara")
    second = find_or_add_client(email=" mara@example.COM", name="Somebody else")

    assert first == second
    assert second.name == "Mara"


def test_a_new_client_has_no_password() -> None:
    assert not find_or_add_client(email="mara@example.com", name="Mara").has_usable_password()


def test_a_drummer_is_no_client() -> None:
    make_drummer(email="jo@example.com")
    with pytest.raises(DrummerAddressError, match=r"jo@example\.com"):
        find_or_add_client(email="jo@example.com", name="Jo")


def test_an_invitation_keeps_only_a_hash_of_its_token() -> None:
    user, invitation, token = send_invitation()

    assert token not in str(vars(invitation))
    assert len(token) >= 43  # 32 random bytes in base64
    assert find_invitation(token).user == user


def test_who_has_a_password_gets_no_invitation() -> None:
    make_client(email="mara@example.com")

    _, invitation, token = invite(email="mara@example.com", name="", sent_by=make_drummer(), lands_on="/")

    assert invitation is None
    assert token is None


def test_taking_sets_the_password_and_says_where_to_go() -> None:
    user, _, token = send_invitation()

    taken_by, lands_on = take_invitation(token=token, password="ruled paper", name="Mara L.", time_zone="Europe/Rome")

    user.refresh_from_db()
    assert taken_by == user
    assert lands_on == "/bookings/7/"
    assert user.check_password("ruled paper")
    assert (user.name, user.time_zone) == ("Mara L.", "Europe/Rome")


def test_looking_does_not_use_it_and_taking_does() -> None:
    _, _, token = send_invitation()
    find_invitation(token)
    find_invitation(token)
    take_invitation(token=token, password="ruled paper")

    with pytest.raises(InvitationUsedError):
        take_invitation(token=token, password="another one")


def test_taking_one_ends_the_others_of_the_same_person() -> None:
    _, _, first = send_invitation()
    _, _, second = send_invitation()
    take_invitation(token=second, password="ruled paper")

    with pytest.raises(InvitationUsedError):
        take_invitation(token=first, password="another one")


def test_an_invitation_runs_out() -> None:
    _, invitation, token = send_invitation()
    assert invitation.expires_at - invitation.sent_at == pytest.approx(INVITATION_LASTS, abs=timedelta(seconds=1))
    Invitation.objects.update(expires_at=timezone.now())

    with pytest.raises(InvitationExpiredError):
        find_invitation(token)


def test_an_unknown_token_and_a_closed_sign_in_are_told_the_same() -> None:
    user, _, token = send_invitation()
    user.is_active = False
    user.save()

    for unknown in ("no-such-token", token):
        with pytest.raises(InvitationUnknownError):
            find_invitation(unknown)


def test_an_invited_client_cannot_sign_in() -> None:
    assert not make_invited_client().check_password("")
