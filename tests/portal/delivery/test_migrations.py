"""Songs of earlier versions whose set was being checked or corrected when the house was upgraded."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps

from portal.bookings.models import Booking, Song
from portal.delivery.models import Delivery, SetRepair, Waiver
from tests.factories import make_client, make_delivery, make_song

pytestmark = pytest.mark.django_db
step = import_module("portal.delivery.migrations.0009_sets_being_checked")


@pytest.mark.parametrize(
    ("state", "is_corrected", "code"), [("checking", False, "check-set"), ("checked", True, "correct-set")]
)
def test_a_running_check_and_a_running_correction_are_the_house_s_turn(
    state: str, is_corrected: bool, code: str
) -> None:
    song = make_song(client=make_client(), stage="in-review", mix_accepted=True, turn="drummer", waits_for="deliver")
    delivery = make_delivery(song=song, state=Delivery.State(state))
    if is_corrected:
        SetRepair.objects.create(delivery=delivery, files=[], repair={}, asked_by=song.booking.created_by)

    step.write_facts(apps, None)
    after = Song.objects.get()
    assert (after.turn, after.waits_for) == ("house", code)
    assert (Booking.objects.get().turn, Booking.objects.get().waits_for) == ("house", code)
    after.pass_turn()
    assert after.waits_for == code

    step.forget(apps, None)
    assert (Song.objects.get().turn, Booking.objects.get().waits_for) == ("drummer", "deliver")


@pytest.mark.parametrize(("is_waived", "code"), [(False, "mend-set"), (True, "deliver")])
def test_a_set_in_which_something_failed_is_to_be_mended(is_waived: bool, code: str) -> None:
    later = import_module("portal.delivery.migrations.0012_failed_sets")
    song = make_song(client=make_client(), stage="in-review", mix_accepted=True, turn="drummer", waits_for="deliver")
    failed = {"code": "hum", "file": "Hat.wav", "passed": False, "message": "Hat.wav hums."}
    delivery = make_delivery(song=song, state=Delivery.State.CHECKED, checks=[failed])
    if is_waived:
        by = song.booking.created_by
        Waiver.objects.create(delivery=delivery, code="hum", file_name="Hat.wav", reason="Meant.", waived_by=by)

    later.write_facts(apps, None)
    after = Song.objects.get()
    assert after.waits_for == code
    after.pass_turn()
    assert after.waits_for == code
    later.forget(apps, None)
    assert Song.objects.get().waits_for == "deliver"
