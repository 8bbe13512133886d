"""How people come in. E-mails are the mailroom's: what is made here, it carries."""

from __future__ import annotations

import hashlib
import secrets

from django.contrib.auth.models import AnonymousUser
from django.db import transaction
from django.utils import timezone

from portal.people.errors import (
    DrummerAddressError,
    InvitationExpiredError,
    InvitationUnknownError,
    InvitationUsedError,
)
from portal.people.models import INVITATION_LASTS, Invitation, User

TOKEN_BYTES = 32


@transaction.atomic
def find_or_add_client(*, email: str, name: str, time_zone: str = "UTC") -> User:
    """The client with this address; a new one has no password until they take an invitation."""
    user, _ = User.objects.get_or_create(
        email=email.strip().lower(),
        defaults={"name": name.strip(), "time_zone": time_zone, "role": User.Role.CLIENT, "password": ""},
    )
    if user.is_drummer:
        raise DrummerAddressError(f"{user.email} is the address of a drummer of this house, who sees every booking.")
    if not user.password:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user


@transaction.atomic
def invite(
    *, email: str, name: str, sent_by: User, lands_on: str, about: str = ""
) -> tuple[User, Invitation | None, str | None]:
    """Make a way in for a client. The token exists only here and in the e-mail; who has a password needs neither."""
    user = find_or_add_client(email=email, name=name, time_zone=sent_by.time_zone)
    if user.has_usable_password():
        return user, None, None
    token = secrets.token_urlsafe(TOKEN_BYTES)
    invitation = Invitation.objects.create(
        user=user,
        sent_by=sent_by,
        token_sha256=hash_token(token),
        about=about[:120],
        lands_on=lands_on,
        expires_at=timezone.now() + INVITATION_LASTS,
    )
    return user, invitation, token


def find_invitation(token: str) -> Invitation:
    """Look an invitation up without using it: a program that previews links must not use it up."""
    invitation = Invitation.objects.select_related("user", "sent_by").filter(token_sha256=hash_token(token)).first()
    if invitation is None or not invitation.user.is_active:
        raise InvitationUnknownError("This invitation link is not valid.")
    if invitation.is_used or invitation.user.has_usable_password():
        raise InvitationUsedError("This invitation has already been used.")
    if invitation.is_expired:
        raise InvitationExpiredError("This invitation has expired.")
    return invitation


def landing_of(token: str, user: User | AnonymousUser) -> str:
    """Where a used invitation leads the person that it was for, once they are signed in; nobody else anywhere."""
    if not user.is_authenticated:
        return ""
    own = Invitation.objects.filter(token_sha256=hash_token(token), user=user.pk).first()
    return own.lands_on if own else ""


@transaction.atomic
def take_invitation(*, token: str, password: str, name: str = "", time_zone: str = "") -> tuple[User, str]:
    """Set the password and say where the invitation leads. Every other open invitation of this person ends with it."""
    invitation = find_invitation(token)
    user = User.objects.select_for_update().get(pk=invitation.user_id)
    if Invitation.objects.filter(user=user).use() == 0:  # two people pressed at once: the first one set the password
        raise InvitationUsedError("This invitation has already been used.")
    user.name, user.time_zone = name.strip() or user.name, time_zone or user.time_zone
    user.set_password(password)
    user.save(update_fields=["name", "time_zone", "password"])
    return user, invitation.lands_on


def withdraw_invitations(user: User) -> None:
    """No link that was sent to somebody leads in any more. Who has a password keeps it."""
    user.invitations.usable().use()


def hash_token(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
