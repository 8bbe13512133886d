"""The support pages: each lists, finds and opens its rows."""

from http import HTTPStatus

import pytest
from django.contrib import admin
from django.db.models import Model
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Booking
from portal.bookings.services import record
from portal.people.models import User
from tests.world import make_world

pytestmark = pytest.mark.django_db

MODELS = sorted(admin.site._registry, key=lambda model: model._meta.label)


@pytest.fixture
def support(client: Client) -> Client:
    make_world()
    client.force_login(User.objects.create_superuser("root@example.com", None, name="Support"))
    return client


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label_lower)
def test_a_model_is_listed_searched_and_opened(support: Client, model: type[Model]) -> None:
    name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
    assert support.get(reverse(f"{name}_changelist"), {"q": "x"}).status_code == HTTPStatus.OK
    assert support.get(reverse(f"{name}_add")).status_code in (HTTPStatus.OK, HTTPStatus.FORBIDDEN)
    row = model._default_manager.first()
    if row is not None:
        assert support.get(reverse(f"{name}_change", args=[row.pk])).status_code == HTTPStatus.OK


def test_the_timeline_cannot_be_written_there(support: Client) -> None:
    entry = record(Booking.objects.all()[0], "happened")
    for action in ("change", "delete"):
        address = reverse(f"admin:bookings_timelineentry_{action}", args=[entry.pk])
        assert support.post(address, {"text": "never happened"}).status_code == HTTPStatus.FORBIDDEN
