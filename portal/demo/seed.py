"""The invented house of a demo: made once, then kept as its people leave it."""

from typing import Any

from django.conf import settings
from django.db import transaction

from portal.bookings import services as bookings
from portal.bookings.models import Booking
from portal.demo.secrets import house_secret
from portal.people.models import House, User

PASSWORD_BYTES = 9
DRUMMER = ("drummer@kitpost.example", "Nadia Brandt")
CLIENT = ("client@kitpost.example", "Tomás Rivela")
OTHER_CLIENT = ("other@kitpost.example", "Ji-woo Han")


def seed_house() -> dict[str, Any]:
    """Make the house if the folder holds none, and return who may sign in and where to look."""
    if not User.objects.filter(email=DRUMMER[0]).exists():
        build_house()
    people = {"drummer": DRUMMER, "client": CLIENT, "other_client": OTHER_CLIENT}
    return {
        "url": settings.BASE_URL,
        **{key: {"email": email, "password": password(email)} for key, (email, _) in people.items()},
        **addresses(Booking.objects.order_by("pk")[0]),
    }


def addresses(booking: Booking) -> dict[str, str]:
    return {
        "booking": settings.BASE_URL + booking.get_absolute_url(),
        "song": settings.BASE_URL + booking.songs.all()[0].get_absolute_url(),
        "tus": f"{settings.BASE_URL}/tus/",
    }


@transaction.atomic
def build_house() -> None:
    House.objects.update_or_create(pk=1, defaults={"name": "Brandt Drum Room", "time_zone": "Europe/Berlin"})
    drummer = person(*DRUMMER, role=User.Role.DRUMMER, time_zone="Europe/Berlin")
    client = person(*CLIENT, role=User.Role.CLIENT, time_zone="Europe/Lisbon")
    other_client = person(*OTHER_CLIENT, role=User.Role.CLIENT, time_zone="Asia/Seoul")
    open_booking("Low Tide Letters", ["Harbour Lights", "Paper Boats"], client=client, drummer=drummer)
    open_booking("Night Bus", ["Last Stop"], client=other_client, drummer=drummer)


def open_booking(title: str, songs: list[str], *, client: User, drummer: User) -> Booking:
    booking = bookings.create_booking(by=drummer, title=title, song_titles=songs)
    bookings.seat_client(booking=booking, client=client, by=drummer)
    return booking


def person(email: str, name: str, *, role: User.Role, time_zone: str) -> User:
    return User.objects.create_user(email, password(email), name=name, role=role, time_zone=time_zone)


def password(email: str) -> str:
    return house_secret(settings.DATA_DIR, f"password-{email}", random_bytes=PASSWORD_BYTES)
