"""The three invented people who can sign in to a demo, and one who only asked."""

from dataclasses import dataclass

from django.conf import settings

from portal.demo.secrets import house_secret
from portal.people.models import User

PASSWORD_BYTES = 9


@dataclass(frozen=True)
class Invented:
    email: str
    name: str
    role: User.Role
    time_zone: str


DRUMMER = Invented("drummer@kitpost.example", "Nadia Veltmoor", User.Role.DRUMMER, "Europe/Berlin")
CLIENT = Invented("client@kitpost.example", "Tomás Quintrel", User.Role.CLIENT, "Europe/Lisbon")
OTHER_CLIENT = Invented("other@kitpost.example", "Ji-woo Dalrim", User.Role.CLIENT, "Asia/Seoul")
ENQUIRER = Invented("enquiry@kitpost.example", "Ruvina Halmstrek", User.Role.CLIENT, "Europe/Berlin")


def move_in(who: Invented) -> User:
    return User.objects.create_user(
        who.email, password(who.email), name=who.name, role=who.role, time_zone=who.time_zone
    )


def password(email: str) -> str:
    return house_secret(settings.DATA_DIR, f"password-{email}", random_bytes=PASSWORD_BYTES)
