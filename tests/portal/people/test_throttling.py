"""Guessing passwords is slowed down, for an account and from an address, and tells nothing on the way."""

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from ipaddress import ip_network

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.db import connection
from django.test import Client, override_settings
from django.urls import reverse
from django.utils import timezone
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from portal.people.devices import COOKIE
from portal.people.errors import TooManyTriesError
from portal.people.models import SignInTry, User
from portal.people.throttling import (
    FIRST_WAIT,
    MOST_TRIES_FOR_ACCOUNT,
    MOST_TRIES_FROM_ADDRESS,
    count_try,
    forget_tries,
)
from tests.factories import PASSWORD, make_client, make_drummer

SIGN_IN = "people:sign-in"
WRONG = "wrong words"
# On a busy machine some of it has passed when the page is made.
WAIT_15_S = r"Too many attempts\. Wait 1[0-5] seconds"


def sign_in(client: Client, email: str, password: str = WRONG, *, view: str = SIGN_IN) -> str:
    response = client.post(reverse(view), {"username": email, "password": password})
    return response.content.decode() if response.content else ""


def answer_to(client: Client, email: str) -> str:
    """The page without what is new in every page, and without what was typed."""
    page = sign_in(client, email).partition("<main")[2].replace(email, "")
    return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", page)


def guess_up(client: Client, email: str) -> None:
    """So often that the next try has to wait; all of it just now, however long it took."""
    for _ in range(MOST_TRIES_FOR_ACCOUNT):
        assert "Wrong e-mail address or password" in sign_in(client, email)
    SignInTry.objects.update(at=timezone.now())


@pytest.mark.django_db
def test_after_some_guesses_not_even_the_right_password_is_looked_at(client: Client) -> None:
    user = make_client()
    guess_up(client, user.email)

    assert re.search(WAIT_15_S, sign_in(client, user.email.upper(), PASSWORD))
    assert "_auth_user_id" not in client.session


@pytest.mark.django_db
def test_waiting_helps_though_somebody_else_goes_on(client: Client) -> None:
    user = make_client()
    guess_up(client, user.email)
    sign_in(client, user.email)  # turned away, so not counted
    assert SignInTry.objects.count() == MOST_TRIES_FOR_ACCOUNT
    SignInTry.objects.update(at=timezone.now() - FIRST_WAIT)

    sign_in(client, user.email, PASSWORD)

    assert client.session["_auth_user_id"] == str(user.pk)
    assert not SignInTry.objects.exists()


@pytest.mark.django_db
def test_each_further_guess_waits_twice_as_long() -> None:
    for _ in range(MOST_TRIES_FOR_ACCOUNT):
        count_try(account="mara@example.com", address="")
    for wait_s in (15, 30, 60):
        SignInTry.objects.update(at=timezone.now() - timedelta(seconds=wait_s - 5))
        with pytest.raises(TooManyTriesError, match=r"Wait [2-5] seconds,"):
            count_try(account="mara@example.com", address="")
        SignInTry.objects.update(at=timezone.now() - timedelta(seconds=wait_s))
        count_try(account="mara@example.com", address="")


@pytest.mark.django_db
def test_guesses_from_afar_do_not_keep_the_owner_out_of_a_device_they_know(client: Client) -> None:
    owner = make_client()
    sign_in(client, owner.email, PASSWORD)
    client.post(reverse("people:sign-out"))
    guess_up(Client(), owner.email)

    sign_in(client, owner.email, PASSWORD)

    assert client.session["_auth_user_id"] == str(owner.pk)
    assert "Too many attempts" in sign_in(Client(), owner.email, PASSWORD)  # the guesses stay counted


@pytest.mark.django_db
def test_a_known_device_may_not_guess_on_and_on_and_knows_one_account_alone(client: Client) -> None:
    owner, other = make_client(email="one@example.com"), make_client(email="two@example.com")
    sign_in(client, owner.email, PASSWORD)
    client.post(reverse("people:sign-out"))
    guess_up(Client(), other.email)

    assert "Too many attempts" in sign_in(client, other.email, PASSWORD)
    guess_up(client, owner.email)
    assert "Too many attempts" in sign_in(client, owner.email, PASSWORD)


@pytest.mark.django_db
def test_a_made_up_device_is_none(client: Client) -> None:
    owner = make_client()
    guess_up(Client(), owner.email)
    client.cookies[COOKIE] = "eyJhIjoxfQ:made:up"

    assert "Too many attempts" in sign_in(client, owner.email, PASSWORD)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("203.0.113.77", "203.0.113.0/24"),
        ("2001:db8:0:42:9::7", "2001:db8:0:42::/64"),
        ("127.0.0.1", "an address that many share"),
    ],
)
def test_a_wrong_guess_is_logged_without_what_was_typed(
    client: Client, caplog: pytest.LogCaptureFixture, address: str, network: str
) -> None:
    user = make_client()
    for email in (user.email, user.email, "no@example.com"):
        typed = {"username": email, "password": "four-words-of-mine"}
        client.post(reverse(SIGN_IN), typed, REMOTE_ADDR=address)
    lines = [record.getMessage() for record in caplog.records if record.name == "portal.people.throttling"]

    assert {record.levelname for record in caplog.records} == {"WARNING"}
    form = rf"sign-in refused \(invalid_login\): account ([0-9a-f]{{12}}), from {re.escape(network)}"
    accounts = [re.fullmatch(form, line)[1] for line in lines]  # type: ignore[index]
    assert accounts[0] == accounts[1] != accounts[2]


@pytest.mark.django_db
def test_a_right_password_leaves_no_line(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    sign_in(client, make_client().email, PASSWORD)
    assert not caplog.records


@pytest.mark.django_db
def test_an_account_nobody_has_is_answered_alike(client: Client) -> None:
    user = make_client()
    for _ in range(MOST_TRIES_FOR_ACCOUNT + 1):
        known, unknown = (answer_to(client, email) for email in (user.email, "no@example.com"))
        # One is asked a moment after the other.
        assert re.sub(r"Wait \d+ seconds", "Wait", known) == re.sub(r"Wait \d+ seconds", "Wait", unknown)


@pytest.mark.django_db
def test_one_address_may_not_try_account_after_account() -> None:
    for number in range(MOST_TRIES_FROM_ADDRESS):
        count_try(account=f"{number}@example.com", address="192.0.2.7")
    forget_tries(account="3@example.com")  # their own: makes room for one try, no more
    count_try(account="mara@example.com", address="192.0.2.7")
    with pytest.raises(TooManyTriesError):
        count_try(account="jo@example.com", address="192.0.2.7")
    count_try(account="jo@example.com", address="192.0.2.8")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("first", "second", "are_one"),
    [
        ("2001:db8:0:1::1", "2001:db8:0:1:ffff::2", True),
        ("2001:db8:0:1::1", "2001:db8:0:2::1", False),
        ("::ffff:192.0.2.7", "192.0.2.7", True),
    ],
)
def test_one_site_is_one_address(first: str, second: str, are_one: bool) -> None:
    count_try(account="a@example.com", address=first)
    count_try(account="b@example.com", address=second)
    assert (SignInTry.objects.values("address_hash").distinct().count() == 1) is are_one


@pytest.mark.django_db
def test_without_an_address_only_the_account_counts() -> None:
    for number in range(MOST_TRIES_FROM_ADDRESS + 1):
        count_try(account=f"{number}@example.com", address="")
    assert set(SignInTry.objects.values_list("address_hash", flat=True)) == {""}


@pytest.mark.django_db
def test_the_right_password_forgets_the_wrong_ones(client: Client) -> None:
    user = make_client()
    sign_in(client, user.email)
    sign_in(client, user.email, PASSWORD)
    assert not SignInTry.objects.exists()


@pytest.mark.django_db
def test_a_half_empty_form_is_no_try(client: Client) -> None:
    assert "required" in sign_in(client, "mara@example.com", "")
    assert not SignInTry.objects.exists()


@pytest.mark.django_db
def test_the_support_pages_count_the_same_tries(client: Client) -> None:
    root = User.objects.create_superuser("root@example.com", PASSWORD, name="Support")
    guess_up(client, root.email)
    assert re.search(WAIT_15_S, sign_in(client, root.email, PASSWORD, view="admin:login"))
    forget_tries(account=root.email)
    sign_in(client, root.email, PASSWORD, view="admin:login")
    assert client.session["_auth_user_id"] == str(root.pk)


@pytest.mark.django_db
def test_who_holds_the_letter_with_a_new_password_waits_for_nothing(client: Client) -> None:
    user = make_drummer()
    guess_up(client, user.email)
    key = urlsafe_base64_encode(force_bytes(user.pk))
    address = reverse("people:password-reset-confirm", args=[key, default_token_generator.make_token(user)])
    form = client.get(address).headers["Location"]

    client.post(form, {"new_password1": "a new set of words", "new_password2": "a new set of words"})

    assert client.session["_auth_user_id"] == str(user.pk)
    assert not SignInTry.objects.exists()


@pytest.mark.django_db
def test_who_is_signed_in_is_not_held_up(client: Client) -> None:
    user = make_client()
    client.force_login(user)
    for _ in range(MOST_TRIES_FOR_ACCOUNT + 1):
        sign_in(Client(), user.email)
    assert client.get(reverse("people:me")).status_code == 200


@pytest.mark.django_db
@override_settings(FRONT_SERVERS=[ip_network("127.0.0.1")])
def test_behind_a_front_server_the_address_is_the_one_it_wrote() -> None:
    for number in range(MOST_TRIES_FROM_ADDRESS):
        headers = {"X-Forwarded-For": f"198.51.100.{number}, 203.0.113.7"}  # all but the last may be made up
        Client(headers=headers).post(reverse(SIGN_IN), {"username": f"{number}@example.com", "password": "x"})
    assert SignInTry.objects.values("address_hash").distinct().count() == 1


@pytest.mark.django_db
def test_without_a_front_server_nobody_is_believed_to_be_somebody_else() -> None:
    for number in range(MOST_TRIES_FROM_ADDRESS):
        headers = {"X-Forwarded-For": f"203.0.113.{number}"}
        guesser = Client(headers=headers, REMOTE_ADDR="198.51.100.7")
        guesser.post(reverse(SIGN_IN), {"username": f"{number}@example.com", "password": "x"})
    assert SignInTry.objects.values("address_hash").distinct().count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "address", ["10.0.0.1", "172.18.0.1", "192.168.1.1", "127.0.0.1", "::ffff:172.18.0.1", "fe80::1"]
)
def test_an_address_that_may_be_a_gateway_is_not_everybody(address: str) -> None:
    for number in range(MOST_TRIES_FROM_ADDRESS + 1):
        count_try(account=f"{number}@example.com", address=address)


@pytest.mark.django_db(transaction=True)
def test_guesses_at_the_same_moment_do_not_slip_past_each_other() -> None:
    def guess(_: int) -> bool:
        try:
            count_try(account="mara@example.com", address="192.0.2.7")
        except TooManyTriesError:
            return False
        finally:
            connection.close()
        return True

    with ThreadPoolExecutor(4) as threads:
        assert sum(threads.map(guess, range(24))) <= MOST_TRIES_FOR_ACCOUNT
