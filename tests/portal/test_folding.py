"""Folded copies never fall behind what they copy, however it is written."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db.models import F

from portal.bookings.models import Booking
from portal.folding import SearchedModel, SearchedQuerySet
from portal.mailroom.models import Message
from portal.people.models import User
from tests.factories import make_booking, make_client, make_message

SEARCHED = [model for model in apps.get_models() if issubclass(model, SearchedModel)]


def test_every_searched_model_writes_its_copies_with_its_rows() -> None:
    assert len(SEARCHED) == 7
    assert all(isinstance(model._default_manager.get_queryset(), SearchedQuerySet) for model in SEARCHED)


@pytest.mark.django_db
def test_writing_many_rows_writes_their_copies() -> None:
    booking, user = make_booking(), make_client()
    Booking.objects.filter(pk=booking.pk).update(title="ÄRMEL Straße")
    User.objects.filter(pk=user.pk).update(name="MARA")
    make_message(booking=booking)
    Message.objects.all().update(subject="ONE", body="Two")

    assert Booking.objects.get().folded == "armel strasse"
    assert User.objects.get(pk=user.pk).folded == "mara"
    assert Message.objects.get().folded == "one\ntwo"


@pytest.mark.django_db
def test_what_cannot_be_copied_is_refused() -> None:
    booking = make_booking()
    make_message(booking=booking)
    Booking.objects.update(stage="working")
    booking.title = "Other"
    with pytest.raises(TypeError, match="save each row"):
        Message.objects.update(subject="ONE")  # the body of each row is another
    with pytest.raises(TypeError, match="save each row"):
        Booking.objects.update(title=F("stage"))
    with pytest.raises(TypeError, match="save each row"):
        Booking.objects.bulk_update([booking], ["title"])
