"""A client's name and e-mail address, corrected by the drummer.

The address is what its account signs in with. So a new one counts once somebody who reads it has confirmed it, and the
old one is told. Who was only invited so far has confirmed neither: there the new address simply takes its place.
"""

from __future__ import annotations

import secrets

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from portal.people import hooks
from portal.people.errors import AddressChangeError
from portal.people.models import INVITATION_LASTS, AddressChange, House, User
from portal.people.services import TOKEN_BYTES, hash_token


@transaction.atomic
def rename_client(*, client: User, name: str, by: User) -> None:
    client = User.objects.select_for_update().get(pk=client.pk)
    if name != client.name:
        old, client.name = client.name, name
        client.save(update_fields=["name"])
        _record(client, f"changed the client’s name from {old} to {name}", by=by)


@transaction.atomic
def change_address(*, client: User, email: str, by: User, address_of_link: str) -> bool:
    """Tells whether the new address has to be confirmed first. `address_of_link` is the house's own address."""
    client, email = User.objects.select_for_update().get(pk=client.pk), email.strip().lower()
    if email == client.email:
        return False
    _check_free(email)
    if not client.has_usable_password():
        client.invitations.usable().use()
        _take(client, email)
        _record(client, f"corrected the e-mail address of {client.name}", by=by)
        return False
    client.address_changes.open().update(used_at=timezone.now())  # the newest link alone counts
    token = secrets.token_urlsafe(TOKEN_BYTES)
    change = AddressChange.objects.create(
        user=client,
        asked_by=by,
        email=email,
        token_sha256=hash_token(token),
        expires_at=timezone.now() + INVITATION_LASTS,
    )
    link = f"{address_of_link}{reverse('people:address', args=[token])}"
    body = (
        f"Hello {client.name},\n\n{by.name} wants to write to you at this address from now on, and you would sign in "
        f"with it. If that is right, confirm it here:\n\n{link}\n\nIf not, do nothing: then nothing changes.\n"
    )
    _write(email, f"Confirm your address for {House.get().name}", body, key=f"address:{change.pk}:new")
    _record(client, f"asked {client.name} to confirm a new e-mail address", by=by)
    return True


def find_change(token: str) -> AddressChange:
    change = AddressChange.objects.select_related("user", "asked_by").filter(token_sha256=hash_token(token)).first()
    if change is None or not change.user.is_active:
        raise AddressChangeError("We know no change of an address with this link.")
    if change.used_at is not None:
        raise AddressChangeError("This link has been used, or a newer one was sent.")
    if change.expires_at <= timezone.now():
        raise AddressChangeError("This link has expired. Ask the drummer to send a new one.")
    return change


@transaction.atomic
def confirm_address(*, token: str) -> User:
    """The sign-in follows: the same password, the new address. Pressed twice it is confirmed once."""
    change = find_change(token)
    client = User.objects.select_for_update().get(pk=change.user_id)
    if not AddressChange.objects.open().filter(pk=change.pk).update(used_at=timezone.now()):
        raise AddressChangeError("This link has been used, or a newer one was sent.")
    old = client.email
    _check_free(change.email)
    _take(client, change.email)
    body = (
        f"Hello {client.name},\n\nfrom now on you sign in at {House.get().name} with {change.email}, and no e-mail "
        "comes here any more. If you did not want that, write to the drummer at once.\n"
    )
    _write(old, f"Your address at {House.get().name} has changed", body, key=f"address:{change.pk}:old")
    _record(client, "confirmed the new e-mail address", by=client)
    return client


def _check_free(email: str) -> None:
    if User.objects.filter(email=email).exists():
        raise AddressChangeError(f"{email} belongs to another account of this house already.")


def _take(client: User, email: str) -> None:
    client.email = email
    try:
        with transaction.atomic():
            client.save(update_fields=["email"])
    except IntegrityError as error:  # taken a moment ago
        raise AddressChangeError(f"{email} belongs to another account of this house already.") from error


def _write(to: str, subject: str, body: str, *, key: str) -> None:
    for carry in hooks.carries_private_letter:
        carry(to=to, subject=subject, body=body, key=key)


def _record(client: User, text: str, *, by: User) -> None:
    for call in hooks.on_client_corrected:
        call(client.pk, by.pk, text)
