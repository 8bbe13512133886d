"""Slows down guessing passwords, per account and per address. The same whether the account exists or not.

Invitations, new passwords by mail, and who is signed in are not held up: those need a secret of their own.
"""

from __future__ import annotations

import ipaddress

from django.utils.crypto import salted_hmac

from portal.people.errors import TooManyTriesError
from portal.people.models import TRIES_COUNT_FOR, SignInTry

MOST_TRIES_FOR_ACCOUNT = 8
# More, since a whole studio may share one address.
MOST_TRIES_FROM_ADDRESS = 30
IPV6_NETWORK_BITS = 64  # RFC 6177: what one site gets at the least, so one person can change all bits after it

WAIT_MINUTES = int(TRIES_COUNT_FOR.total_seconds()) // 60
SLOW_DOWN = (
    f"Too many attempts. Wait {WAIT_MINUTES} minutes, then sign in again. "
    "If you forgot the password, request a new one: that works at once."
)


def count_try(*, account: str, address: str) -> None:
    """Count before looking at the password: processes that guess side by side see each other's tries.

    A try that is turned away does not count, so that waiting helps even while somebody else goes on.
    """
    SignInTry.objects.clear_old()
    tried = SignInTry.objects.create(account_hash=_account_hash(account), address_hash=_address_hash(address))
    recent = SignInTry.objects.recent()
    for_account = recent.filter(account_hash=tried.account_hash).count()
    from_address = recent.filter(address_hash=tried.address_hash).count() if tried.address_hash else 0
    if for_account > MOST_TRIES_FOR_ACCOUNT or from_address > MOST_TRIES_FROM_ADDRESS:
        tried.delete()
        raise TooManyTriesError(SLOW_DOWN)


def forget_tries(*, account: str) -> None:
    """The password was right, or is a new one. Tries at other accounts from the same address stay counted."""
    SignInTry.objects.filter(account_hash=_account_hash(account)).delete()


def _account_hash(account: str) -> str:
    return _hash(f"account:{account.strip().lower()}")


def _address_hash(address: str) -> str:
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return ""
    if ip.version == 6 and ip.ipv4_mapped is None:
        return _hash(f"address:{ipaddress.ip_network((ip, IPV6_NETWORK_BITS), strict=False)}")
    return _hash(f"address:{getattr(ip, 'ipv4_mapped', None) or ip}")


def _hash(text: str) -> str:
    return salted_hmac("portal.people.throttling", text, algorithm="sha256").hexdigest()
