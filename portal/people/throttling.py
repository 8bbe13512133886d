"""Slows down guessing passwords, per account and per address. The same whether the account exists or not.

The first tries at an account are free, then each waits longer than the one before. A device that was signed in before
is counted by itself: guesses from afar do not keep its owner out. Invitations, new passwords by mail, and who is signed
in are not held up: those need a secret of their own.
"""

from __future__ import annotations

import ipaddress
import logging
import math
from datetime import timedelta

from django.utils import timezone
from django.utils.crypto import salted_hmac

from portal.front_servers import may_be_gateway
from portal.people.errors import TooManyTriesError
from portal.people.models import TRIES_COUNT_FOR, SignInTry, SignInTryQuerySet

MOST_TRIES_FOR_ACCOUNT = 8
# More, since a whole studio may share one address.
MOST_TRIES_FROM_ADDRESS = 30
IPV4_LOGGED_BITS = 24  # house choice: the log tells networks apart, and no household
IPV6_NETWORK_BITS = 64  # RFC 6177: what one site gets at the least, so one person can change all bits after it

# House choices: the wait after the free tries, doubled with each further one, up to the time that tries count for.
FIRST_WAIT = timedelta(seconds=15)
SLOW_DOWN = (
    "Too many attempts. Wait {wait}, then sign in again. "
    "If you forgot the password, request a new one: that works at once."
)
ACCOUNT_DIGITS = 12
MANY = "an address that many share"

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

logger = logging.getLogger(__name__)


def count_try(*, account: str, address: str, device: str = "") -> None:
    """Count before looking at the password: processes that guess side by side see each other's tries.

    `device` names one that was signed in to this account before. A try that is turned away does not count, so that
    waiting helps even while somebody else goes on.
    """
    SignInTry.objects.clear_old()
    guessed = _guessed_hash(account, device)
    tried = SignInTry.objects.create(account_hash=guessed, address_hash=_address_hash(address))
    before = SignInTry.objects.recent().exclude(pk=tried.pk)
    waits = [_wait_for_account(before.filter(account_hash=guessed))]
    if tried.address_hash:
        waits.append(_wait_from_address(before.filter(address_hash=tried.address_hash)))
    if wait := max(waits):
        tried.delete()
        raise TooManyTriesError(SLOW_DOWN.format(wait=_in_words(wait)))


def _wait_for_account(before: SignInTryQuerySet) -> timedelta:
    tries = before.count()
    if tries < MOST_TRIES_FOR_ACCOUNT:
        return timedelta()
    wait = min(FIRST_WAIT * 2 ** (tries - MOST_TRIES_FOR_ACCOUNT), TRIES_COUNT_FOR)
    return _left_of(wait, before)


def _wait_from_address(before: SignInTryQuerySet) -> timedelta:
    return timedelta() if before.count() < MOST_TRIES_FROM_ADDRESS else _left_of(TRIES_COUNT_FOR, before, first=True)


def _left_of(wait: timedelta, before: SignInTryQuerySet, *, first: bool = False) -> timedelta:
    """Counted from the last try; or from the first one that still counts, which makes room when it no longer does."""
    at = before.order_by("at" if first else "-at").values_list("at", flat=True)[0]
    return max(timedelta(), at + wait - timezone.now())


def _in_words(wait: timedelta) -> str:
    seconds = math.ceil(wait.total_seconds())
    if seconds <= 90:
        return f"{seconds} second{'s' if seconds != 1 else ''}"
    return f"{math.ceil(seconds / 60)} minutes"


def forget_tries(*, account: str, device: str = "") -> None:
    """The password was right, or is a new one. Tries at other accounts from the same address stay counted, and so do
    those of others at this account when a known device signs in."""
    SignInTry.objects.filter(account_hash=_guessed_hash(account, device)).delete()


def log_refusal(*, account: str, address: str, reason: str) -> None:
    """One line for each sign-in that was looked at and refused: enough to see who is guessed at and from where, and
    neither what was typed nor whose machine it was. The account's digits stay the same from guess to guess."""
    digits = _account_hash(account)[:ACCOUNT_DIGITS]
    logger.warning("sign-in refused (%s): account %s, from %s", reason, digits, _network_in_words(address))


def _guessed_hash(account: str, device: str) -> str:
    return _hash(f"device:{device}") if device else _account_hash(account)


def _account_hash(account: str) -> str:
    return _hash(f"account:{account.strip().lower()}")


def _address_hash(address: str) -> str:
    ip = _one_site(address)
    if ip is None:  # then tries are counted by account alone
        return ""
    return _hash(f"address:{ip if ip.version == 4 else _network(ip, IPV6_NETWORK_BITS)}")


def _network_in_words(address: str) -> str:
    ip = _one_site(address)
    return MANY if ip is None else _network(ip, IPV4_LOGGED_BITS if ip.version == 4 else IPV6_NETWORK_BITS)


def _one_site(address: str) -> Address | None:
    """None for what stands for many people: this machine, a gateway, no address at all."""
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return None
    ip = getattr(ip, "ipv4_mapped", None) or ip
    return None if ip.is_loopback or may_be_gateway(str(ip)) else ip


def _network(ip: Address, bits: int) -> str:
    return str(ipaddress.ip_network((ip, bits), strict=False))


def _hash(text: str) -> str:
    return salted_hmac("portal.people.throttling", text, algorithm="sha256").hexdigest()
