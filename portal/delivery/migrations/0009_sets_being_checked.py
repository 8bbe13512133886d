"""Songs whose set is being checked or corrected wait for that, and no longer for the drummer."""

from typing import Any

from django.db import migrations
from django.utils import timezone

from portal.bookings.turns import BookingFacts, Wait, booking_wait


def write_facts(apps: Any, schema_editor: Any) -> None:
    Song = apps.get_model("bookings", "Song")
    Song.objects.filter(deliveries__state="checking").update(set_checking=True)
    Song.objects.filter(deliveries__repairs__state="making").update(set_correcting=True)
    waiting = Song.objects.filter(waits_for="deliver")
    pass_turns(waiting.filter(set_correcting=True), turn="house", waits_for="correct-set")
    pass_turns(waiting.filter(set_checking=True), turn="house", waits_for="check-set")


def forget(apps: Any, schema_editor: Any) -> None:
    waiting = apps.get_model("bookings", "Song").objects.filter(waits_for__in=("check-set", "correct-set"))
    pass_turns(waiting, turn="drummer", waits_for="deliver")


def pass_turns(songs: Any, **turn: str) -> None:
    bookings = {song.booking_id: song.booking for song in songs.select_related("booking")}
    songs.update(**turn, turn_since=timezone.now())
    for booking in bookings.values():
        waits = [Wait(*wait) for wait in booking.songs.values_list("turn", "waits_for")]
        facts = BookingFacts(booking.stage, booking.quote_state, booking.agreed_once)
        booking.turn, booking.waits_for = booking_wait(facts, waits)
        booking.turn_since = timezone.now()
        booking.save(update_fields=["turn", "waits_for", "turn_since"])


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0008_sets_being_checked'),
        ('delivery', '0008_channel_labels'),
    ]

    operations = [migrations.RunPython(write_facts, forget)]
