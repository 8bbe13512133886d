"""Who may sign in to a demo and where to look. The house is built once, then kept as its people leave it."""

from typing import Any

from django.conf import settings

from portal.bookings.models import Booking
from portal.demo.people import CLIENT, DRUMMER, OTHER_CLIENT, password
from portal.people.models import User


def seed_house(*, small: bool = False) -> dict[str, Any]:
    """Make the house (or a small one) if the folder holds none, and return who may sign in and where to look."""
    if not User.objects.filter(email=DRUMMER.email).exists():
        # It brings the band with it, which a second run has no use for.
        from portal.demo.sample_bookings import build_house

        build_house(small=small)
    people = {"drummer": DRUMMER, "client": CLIENT, "other_client": OTHER_CLIENT}
    return {
        "url": settings.BASE_URL,
        **{key: {"email": who.email, "password": password(who.email)} for key, who in people.items()},
        **addresses(Booking.objects.order_by("pk")[0]),
    }


def addresses(booking: Booking) -> dict[str, str]:
    return {
        "booking": settings.BASE_URL + booking.get_absolute_url(),
        "song": settings.BASE_URL + booking.songs.all()[0].get_absolute_url(),
        "tus": f"{settings.BASE_URL}/tus/",
    }
