"""What decides whose turn it is, read from the rows of every app and written down on bookings and songs.

It stands here because money is the highest app: the rows of all others are there before it.
"""

from typing import Any

from django.db import migrations
from django.db.models import F
from django.utils import timezone

from portal.bookings.turns import BookingFacts, SongFacts, Wait, booking_wait, wait_of

OVER = ("closed", "declined", "cancelled")
UNTRACKED = ("waiting", "checking", "with-client", "on-desk", "ready")


def write_facts(apps: Any, schema_editor: Any) -> None:
    Member, Booking = apps.get_model("bookings", "Member"), apps.get_model("bookings", "Booking")
    # Whom an earlier version told is not known: better told of an end once more than never.
    Member.objects.filter(told_at=None).update(told_at=F("added_at"))
    for booking in Booking.objects.order_by("pk"):
        close_what_is_over(apps, booking)
        write_booking(booking, quote_facts(booking))
        songs = [write_song(apps, song, booking) for song in booking.songs.order_by("pk")]
        facts = BookingFacts(booking.stage, booking.quote_state, booking.agreed_once)
        pass_turn(booking, booking_wait(facts, songs))


def close_what_is_over(apps: Any, booking: Any) -> None:
    """A cancelled booking asks nothing of anyone."""
    if booking.stage != "cancelled":
        return
    booking.quotes.filter(state="sent").update(state="withdrawn")
    booking.messages.filter(state="held").update(state="withdrawn")
    booking.messages.filter(state="sent").exclude(answers=[]).update(state="withdrawn")
    excerpts = apps.get_model("listening", "Excerpt").objects.filter(song__booking=booking)
    excerpts.filter(state__in=("making", "out")).update(state="withdrawn")


def quote_facts(booking: Any) -> dict[str, Any]:
    states = set(booking.quotes.values_list("state", flat=True))
    agreed = "accepted" in states
    newest = next((state for state in ("sent", "accepted", "draft") if state in states), "none")
    return {"quote_state": newest, "agreed_once": agreed}


def write_booking(booking: Any, facts: dict[str, Any]) -> None:
    for name, value in facts.items():
        setattr(booking, name, value)
    booking.save(update_fields=list(facts))


def write_song(apps: Any, song: Any, booking: Any) -> Wait:
    facts = intake_facts(apps, song) | mix_facts(song)
    for name, value in facts.items():
        setattr(song, name, value)
    song.save(update_fields=list(facts))
    brief = apps.get_model("bookings", "Brief").objects.filter(song=song).exclude(updated_at=None)
    wait = wait_of(
        SongFacts(
            booking_stage=booking.stage,
            quote_state=booking.quote_state,
            deposit_missing=booking.deposit_required and booking.deposit_received_at is None,
            balance_missing=booking.balance_before_files and booking.balance_received_at is None,
            stage=song.stage,
            brief_written=brief.exists(),
            **facts,
        )
    )
    pass_turn(song, wait)
    return wait


def intake_facts(apps: Any, song: Any) -> dict[str, bool]:
    asked = song.messages.filter(key__startswith="check:")
    excerpts = apps.get_model("listening", "Excerpt").objects.filter(song=song, state="out")
    return {
        "has_files": song.sources.filter(removed_at=None).exists() or song.zips.filter(state="received").exists(),
        "question_open": asked.filter(state="sent").exists(),
        "file_promised": is_file_promised(song, asked),
        "listening_open": song.stage in UNTRACKED and excerpts.exists(),
        "map_approved": is_map_approved(apps, song),
        "stop_open": song.findings.filter(state="open", severity="stop").exists(),
        "draft_held": asked.filter(state="held").exists(),
    }


def is_file_promised(song: Any, asked: Any) -> bool:
    promised = asked.filter(state="answered", answer__code="new-file").order_by("-answered_at").first()
    if promised is None or not song.findings.filter(state="open", asked_in=promised).exists():
        return False
    return not song.sources.filter(received_at__gt=promised.answered_at).exists()


def is_map_approved(apps: Any, song: Any) -> bool:
    newest = song.maps.order_by("-version").first()
    check = song.checks.filter(report__isnull=False).order_by("-made_at", "-pk").first()
    if newest is None or (check is not None and newest.check_seen_id != check.pk):
        return False
    said = apps.get_model("listening", "Excerpt").objects.filter(song=song, state="answered").order_by("-answered_at")
    last = said.first()
    return last is None or last.answer == "right" or newest.approved_at > last.answered_at


def mix_facts(song: Any) -> dict[str, bool]:
    newest = song.rough_mixes.filter(state__in=("out", "accepted", "change-asked")).order_by("-number").first()
    state = newest.state if newest else ""
    return {
        "mix_accepted": song.stage == "in-review" and state == "accepted",
        "change_requested": song.stage == "tracking" and state == "change-asked",
    }


def pass_turn(row: Any, wait: Wait) -> None:
    """The same person goes on being waited for since the same day."""
    if row.turn != wait.who:
        row.turn_since = timezone.now()
    row.turn, row.waits_for = wait.who, wait.code
    row.save(update_fields=["turn", "waits_for", "turn_since"])


def forget(apps: Any, schema_editor: Any) -> None:
    """The columns go with the migration before: nothing else was changed that an earlier version cannot read."""
    apps.get_model("money", "Quote").objects.filter(state="withdrawn").update(state="replaced")


class Migration(migrations.Migration):

    dependencies = [
        ('bookings', '0006_member_told_at'),
        ('mailroom', '0002_private_letters'),
        ('intake', '0005_approved_map_count_in'),
        ('listening', '0001_excerpts'),
        ('takes', '0001_initial'),
        ('money', '0003_quotes_withdrawn'),
    ]

    operations = [migrations.RunPython(write_facts, forget)]
