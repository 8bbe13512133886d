"""A song that comes or goes after a quote was accepted: its price is asked for, in a draft of the next quote."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.folding import fold
from portal.money.currencies import to_decimal
from portal.money.models import Quote, QuoteLine
from portal.money.services import Conditions, Line, save_draft
from portal.people.models import User

LINE_LENGTH: int = QuoteLine._meta.get_field("text").max_length or 0


def draft_for_song(song_id: int, by_id: int) -> None:
    """What `bookings.hooks.on_songs_changed` calls. The client sees the new version when the drummer sends it."""
    song = Song.objects.select_related("booking").get(pk=song_id)
    quotes = song.booking.quotes.prefetch_related("lines")
    accepted = quotes.filter(state=Quote.State.ACCEPTED).first()
    if accepted is None or song.booking.is_over:  # without its last open song a booking closes
        return
    source = quotes.filter(state=Quote.State.DRAFT).first() or accepted
    lines = [
        Line(line.text, line.quantity, to_decimal(line.unit_price_minor, source.currency))
        for line in source.lines.all()
    ]
    named = [line for line in lines if fold(song.title) in fold(line.text)]
    if song.stage == SongStage.TAKEN_OUT:
        lines = [line for line in lines if line not in named]
    elif not named:
        lines.append(_agreed_line(accepted, song) or Line(song.title[:LINE_LENGTH], Decimal(1), Decimal(0)))
    conditions = Conditions(**{field.name: getattr(source, field.name) for field in fields(Conditions)})
    if source == accepted:
        conditions = Conditions(**vars(conditions) | {"valid_until": None, "due_on": song.booking.due_on})
    save_draft(booking=song.booking, conditions=conditions, lines=lines, by=User.objects.get(pk=by_id))


def _agreed_line(accepted: Quote, song: Song) -> Line | None:
    """A song that is put back costs what was agreed."""
    for line in accepted.lines.all():
        if fold(song.title) in fold(line.text):
            return Line(line.text, line.quantity, to_decimal(line.unit_price_minor, accepted.currency))
    return None
