"""A form saves what it shows. What somebody else changed between its page and its button stays changed."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from portal.delivery import services
from portal.delivery.errors import SetClosedError
from portal.delivery.forms import SheetForm
from portal.delivery.models import Delivery
from portal.people.forms import HouseForm, MeForm, NewPasswordForm
from portal.people.models import House, User
from tests.factories import make_client, make_delivery

PORTAL = Path(settings.BASE_DIR) / "portal"
# Rows that are new, or written whole under a lock by the only code that writes them.
WHOLE_ROWS = {
    "money/services.py: quote.save",
    "intake/files/file_versions.py: source.save",
    "prep/services.py: choices.save",
}
FORMS_SAVED = {
    "people/views.py: form.save",
    "prep/views.py: form.save",
    "delivery/views.py: sheet.save",
    "delivery/views.py: tracks.save",
}


def saves() -> Iterator[str]:
    """Calls of `save()` that do not say what they save."""
    for path in sorted(PORTAL.rglob("*.py")):
        if "migrations" in path.parts:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and not (node.args or node.keywords):
                name = ast.unparse(node.func)
                if name.endswith(".save"):
                    yield f"{path.relative_to(PORTAL).as_posix()}: {name}"


def test_every_save_says_which_fields() -> None:
    assert set(saves()) == WHOLE_ROWS | FORMS_SAVED


pytestmark = pytest.mark.django_db


def test_a_name_changed_on_a_page_does_not_undo_a_new_password() -> None:
    user = make_client()
    form = MeForm({"name": "Mara Velt", "time_zone": "UTC"}, instance=User.objects.get(pk=user.pk))
    assert form.is_valid()
    changed = User.objects.get(pk=user.pk)
    changed.set_password("seven wooden spoons")
    changed.save(update_fields=["password"])

    form.save()

    user.refresh_from_db()
    assert user.name == "Mara Velt"
    assert user.check_password("seven wooden spoons")


def test_a_new_password_does_not_undo_a_name() -> None:
    user = make_client(name="Mara")
    words = "seven wooden spoons"
    form = NewPasswordForm(User.objects.get(pk=user.pk), {"new_password1": words, "new_password2": words})
    assert form.is_valid()
    User.objects.filter(pk=user.pk).update(name="Mara Velt")

    form.save()

    user.refresh_from_db()
    assert user.name == "Mara Velt"
    assert user.check_password(words)


def test_a_released_delivery_stays_released_when_its_sheet_is_saved_late(client: Client) -> None:
    delivery = make_delivery(state="checking")
    late = SheetForm({"perspective": "audience", "begins": "mix"}, instance=Delivery.objects.get(pk=delivery.pk))
    assert late.is_valid(), late.errors
    Delivery.objects.filter(pk=delivery.pk).update(state="released")

    with pytest.raises(SetClosedError):
        services.describe(delivery=late.instance, save=late.save)
    late.save()

    delivery.refresh_from_db()
    assert delivery.state == "released"


def test_the_settings_of_the_house_are_saved_by_the_fields_of_their_page() -> None:
    house = House.get()
    data = {name: getattr(house, name) for name in HouseForm.Meta.fields} | {"name": "Reed House"}
    form = HouseForm(data, instance=house)
    assert form.is_valid(), form.errors
    form.save()
    assert House.get().name == "Reed House"


def test_the_page_about_oneself_saves(client: Client) -> None:
    user = make_client()
    client.force_login(user)
    client.post(reverse("people:me"), {"name": "Mara Velt", "time_zone": "UTC"})
    user.refresh_from_db()
    assert user.name == "Mara Velt"
