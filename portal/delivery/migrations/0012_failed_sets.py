"""Songs with a checked set in which something failed say so in their turn."""

from typing import Any

from django.db import migrations


def write_facts(apps: Any, schema_editor: Any) -> None:
    for delivery in apps.get_model("delivery", "Delivery").objects.filter(state="checked").select_related("song"):
        waived = set(delivery.waivers.values_list("code", "file_name"))
        failed = {(check["code"], check["file"] or "") for check in delivery.checks if not check["passed"]}
        song = delivery.song
        if failed - waived:
            song.set_failed = True
            if song.waits_for == "deliver":
                song.waits_for = "mend-set"
            song.save(update_fields=["set_failed", "waits_for"])
            _pass_on(song, "deliver", "mend-set")


def forget(apps: Any, schema_editor: Any) -> None:
    for song in apps.get_model("bookings", "Song").objects.filter(waits_for="mend-set"):
        song.waits_for = "deliver"
        song.save(update_fields=["waits_for"])
        _pass_on(song, "mend-set", "deliver")


def _pass_on(song: Any, before: str, after: str) -> None:
    """A booking that waited for this alone; of several different waits it says "several"."""
    booking = song.booking
    codes = set(booking.songs.filter(turn="drummer").values_list("waits_for", flat=True))
    if booking.waits_for in (before, "several") and booking.turn == "drummer":
        booking.waits_for = codes.pop() if len(codes) == 1 else "several"
        booking.save(update_fields=["waits_for"])


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0009_song_set_failed'),
        ('delivery', '0011_polarity_turned_over'),
    ]

    operations = [migrations.RunPython(write_facts, forget)]
