import re
from http import HTTPStatus

import pytest
from django.core import mail
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.mailroom.models import Mail
from portal.people.models import House, Invitation, User
from portal.people.services import invite, take_invitation
from tests.factories import PASSWORD, make_client, make_drummer, make_invited_client
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db


def invitation_address(user: User, lands_on: str = "/me/") -> str:
    drummer = make_drummer(name="Jo Reedmarsh")
    _, _, token = invite(
        email=user.email, name=user.name, sent_by=drummer, lands_on=lands_on, about="Cold Bus Under Spoons"
    )
    return reverse("people:invitation", args=[token])


def test_signs_in_with_any_case_of_the_address_and_out_by_post(client: Client) -> None:
    user = make_client(email="mara@example.com")
    response = client.post(reverse("people:sign-in"), {"username": "Mara@Example.com", "password": PASSWORD})
    assert response.status_code == HTTPStatus.FOUND
    assert client.session["_auth_user_id"] == str(user.pk)

    assert client.get(reverse("people:sign-out")).status_code == HTTPStatus.METHOD_NOT_ALLOWED
    client.post(reverse("people:sign-out"))
    assert "_auth_user_id" not in client.session


def test_a_wrong_password_is_told_in_words(client: Client) -> None:
    user = make_client()
    response = client.post(reverse("people:sign-in"), {"username": user.email, "password": "something else"})
    assert "Wrong e-mail address or password" in response.content.decode()


def test_an_invitation_says_who_invites_and_to_what(client: Client) -> None:
    page = flat(client.get(invitation_address(make_invited_client(email="mara@example.com"))).content.decode())
    assert "Jo Reedmarsh invites you to “Cold Bus Under Spoons”" in page
    assert "mara@example.com" in page


def test_link_previews_do_not_use_an_invitation_up(client: Client) -> None:
    address = invitation_address(make_invited_client())
    for _ in range(3):
        assert client.get(address).status_code == HTTPStatus.OK
        assert client.head(address).status_code == HTTPStatus.OK
    assert Invitation.objects.usable().count() == 1


def test_taking_an_invitation_signs_in_and_lands_where_it_leads(client: Client) -> None:
    user = make_invited_client()
    address = invitation_address(user, lands_on="/bookings/7/")
    answers = {"name": "Mara", "time_zone": "Asia/Seoul", "password": PASSWORD}

    response = client.post(address, answers)

    assert response.headers["Location"] == "/bookings/7/"
    assert client.session["_auth_user_id"] == str(user.pk)
    assert client.get(address).headers["Location"] == "/bookings/7/"
    client.logout()
    assert client.get(address).status_code == HTTPStatus.GONE


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        ({"password": "short"}, "too short"),
        ({"password": "1234567890"}, "too common"),
        ({"time_zone": "Europe/Nowhere"}, "valid choice"),
        ({"name": ""}, "required"),
    ],
)
def test_what_is_wrong_with_the_answers_is_said_and_the_invitation_stays(
    client: Client, answers: dict[str, str], sentence: str
) -> None:
    address = invitation_address(make_invited_client())
    good = {"name": "Mara", "time_zone": "Asia/Seoul", "password": PASSWORD}

    response = client.post(address, good | answers)

    assert sentence in response.content.decode()
    assert Invitation.objects.usable().count() == 1


def test_unknown_and_expired_invitations_say_what_to_do(client: Client) -> None:
    unknown = client.get(reverse("people:invitation", args=["no-such-token"]))
    assert unknown.status_code == HTTPStatus.NOT_FOUND
    assert "sign in with your e-mail address" in unknown.content.decode()

    address = invitation_address(make_invited_client())
    Invitation.objects.update(expires_at=timezone.now())
    expired = client.get(address)
    assert expired.status_code == HTTPStatus.GONE
    assert "To get a new one, reply to the e-mail" in expired.content.decode()


def test_taking_an_invitation_as_somebody_else_changes_who_is_signed_in(client: Client) -> None:
    invited = make_invited_client(name="Mara")
    client.force_login(make_drummer(name="Jo"))
    address = invitation_address(invited)
    assert "You are signed in as Jo" in client.get(address).content.decode()

    client.post(address, {"name": "Mara", "time_zone": "UTC", "password": PASSWORD})

    assert client.session["_auth_user_id"] == str(invited.pk)


def test_a_lost_password_is_set_anew_by_mail(
    client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    user = make_client()
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("people:password-reset"), {"email": user.email})
    (letter,) = mail.outbox
    link = re.search(r"http://testserver(/\S+)", str(letter.body))
    assert link

    form = client.get(link[1])
    client.post(
        form.headers["Location"], {"new_password1": "a new set of words", "new_password2": "a new set of words"}
    )

    user.refresh_from_db()
    assert user.check_password("a new set of words")
    assert "expired" in client.get(link[1]).content.decode()


@override_settings(ALLOWED_HOSTS=["*"], BASE_URL="https://house.example")
def test_the_link_to_a_new_password_never_follows_the_host_that_a_stranger_names(client: Client) -> None:
    make_client(email="mara@example.com")

    client.post(reverse("people:password-reset"), {"email": "mara@example.com"}, headers={"Host": "evil.example"})

    body = Mail.objects.get().body
    assert "https://house.example/password-reset/" in body
    assert "evil.example" not in body


@pytest.mark.parametrize("password", ["mirelasandquell", "Sandquell Mirela", "otherperson1"])
def test_a_password_made_of_ones_own_name_is_refused(client: Client, password: str) -> None:
    invited = make_invited_client(name="Mirela Sandquell")

    answer = client.post(
        invitation_address(invited), {"name": "Other Person", "time_zone": "UTC", "password": password}
    )

    assert "too similar to the name" in answer.content.decode()
    invited.refresh_from_db()
    assert not invited.has_usable_password()


def test_asking_for_a_new_password_tells_nobody_who_is_here(client: Client) -> None:
    make_client(email="mara@example.com")
    known, unknown = (
        client.post(reverse("people:password-reset"), {"email": email}, follow=True)
        .content.decode()
        .partition("<main")[2]
        for email in ("mara@example.com", "nobody@example.com")
    )
    assert "Check your e-mail" in known
    assert known == unknown


def test_name_and_time_zone_are_saved_and_times_follow(client: Client) -> None:
    user = make_client()
    client.force_login(user)

    client.post(reverse("people:me"), {"name": "Mara", "time_zone": "Asia/Seoul"})

    user.refresh_from_db()
    assert (user.name, user.time_zone) == ("Mara", "Asia/Seoul")
    response = client.post(reverse("people:me"), {"name": "", "time_zone": "Asia/Seoul"})
    assert "required" in response.content.decode()


def test_the_password_can_be_changed(client: Client) -> None:
    user = make_client()
    client.force_login(user)
    new = "a new set of words"
    answers = {"old_password": PASSWORD, "new_password1": new, "new_password2": new}

    response = client.post(reverse("people:password-change"), answers, follow=True)

    user.refresh_from_db()
    assert user.check_password(new)
    assert "Password changed" in response.content.decode()


def test_the_drummer_sets_the_house(client: Client) -> None:
    client.force_login(make_drummer())
    answers = {
        "name": "Room Nine",
        "reply_to": "jo@example.com",
        "time_zone": "Europe/Berlin",
        "currency": "usd",
        "deposit_percent": "30",
        "how_to_pay": "Account 12 34 56.",
        "keep_originals_days": "0",
        "notice_days": "21",
        "quiet_after_files_s": "90",
        "perspective": "player",
    }

    client.post(reverse("people:house"), answers)
    house = House.get()
    assert (house.name, house.currency, house.deposit_percent) == ("Room Nine", "USD", 30)
    assert house.perspective == "player"
    assert house.how_to_pay == "Account 12 34 56."
    assert (house.keep_originals_days, house.notice_days, house.quiet_after_files_s) == (0, 21, 90)

    response = client.post(
        reverse("people:house"), answers | {"deposit_percent": "130", "currency": "12", "notice_days": "0"}
    )
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    house = House.get()
    assert (house.deposit_percent, house.notice_days) == (30, 21)


def test_a_client_does_not_reach_the_house(client: Client) -> None:
    client.force_login(make_client())
    assert client.get(reverse("people:house")).status_code == HTTPStatus.FORBIDDEN


def test_a_used_invitation_leads_whoever_it_was_for_to_the_booking(client: Client) -> None:
    mara = make_invited_client()
    _, _, token = invite(email=mara.email, name=mara.name, sent_by=make_drummer(), lands_on="/bookings/7/", about="It")
    assert token is not None
    address = reverse("people:invitation", args=[token])
    take_invitation(token=token, password=PASSWORD)
    assert client.get(address).status_code == HTTPStatus.GONE
    client.force_login(make_client())
    assert client.get(address).status_code == HTTPStatus.GONE
    mara.refresh_from_db()  # the password is part of the session
    client.force_login(mara)
    assert client.get(address).headers["Location"] == "/bookings/7/"
