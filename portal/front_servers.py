"""Whom a request comes from. Only a front server of our own may speak for somebody else; its last entry is its own."""

from collections.abc import Callable
from ipaddress import ip_address, ip_network

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST", "HTTP_FORWARDED")


# Private, shared and link-local addresses (RFC 1918, 6598, 3927, 4193, 4291).
PRIVATE = [
    ip_network(network)
    for network in (
        *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16"),
        *("fc00::/7", "fe80::/10"),
    )
]


def may_be_gateway(address: str) -> bool:
    """Whether everybody may come through this address, so that it is no one person's."""
    try:
        ip = ip_address(address)
    except ValueError:
        return False
    return any((getattr(ip, "ipv4_mapped", None) or ip) in network for network in PRIVATE)


def is_front_server(peer: str) -> bool:
    try:
        address = ip_address(peer)
    except ValueError:  # a socket in a folder has no address, and only this machine's programs reach it
        return peer == "" and bool(settings.FRONT_SERVERS)
    address = getattr(address, "ipv4_mapped", None) or address
    return any(address in network for network in settings.FRONT_SERVERS)


def address_behind(peer: str, forwarded_for: str) -> str:
    return (forwarded_for.rpartition(",")[2].strip() if is_front_server(peer) else "") or peer


class FrontServerMiddleware:
    """`REMOTE_ADDR` is who asks; what a stranger wrote about himself is gone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        peer = str(request.META.get("REMOTE_ADDR", ""))
        if not is_front_server(peer):
            for name in FORWARDED:
                request.META.pop(name, None)
        request.META["REMOTE_ADDR"] = address_behind(peer, str(request.META.get("HTTP_X_FORWARDED_FOR", "")))
        return self.get_response(request)
