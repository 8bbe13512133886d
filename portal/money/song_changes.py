"""A song that comes or goes after a quote was accepted: its price is asked for, in a draft of the next quote."""

from __future__ import annotations

from dataclasses import fields, replace
from decimal import Decimal

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.money.currencies import to_decimal
from portal.money.models import Quote
from portal.money.services import Conditions, Line, save_draft
from portal.people.models import User


def draft_for_song(song_id: int, by_id: int) -> None:
    """What `bookings.hooks.on_songs_changed` calls. The client sees the new version when the drummer sends it."""
    song = Song.objects.select_related("booking").get(pk=song_id)
    quotes = song.booking.quotes.prefetch_related("lines")
    accepted = quotes.filter(state=Quote.State.ACCEPTED).first()
    if accepted is None or song.booking.is_over:  # without its last open song a booking closes
        return
    source = quotes.filter(state=Quote.State.DRAFT).first() or accepted
    conditions = Conditions(**{field.name: getattr(source, field.name) for field in fields(Conditions)})
    if source == accepted:
        conditions = replace(conditions, valid_until=None, due_on=song.booking.due_on)
    lines = _without(song, _lines_of(source)) if song.stage == SongStage.TAKEN_OUT else _with(song, source, accepted)
    save_draft(booking=song.booking, conditions=conditions, lines=lines, by=User.objects.get(pk=by_id))


def _lines_of(quote: Quote) -> list[Line]:
    return [
        Line(
            line.text,
            line.quantity,
            to_decimal(line.unit_price_minor, quote.currency),
            song_id=line.song_id,
            price_asked=line.price_asked,
        )
        for line in quote.lines.all()
    ]


def _without(song: Song, lines: list[Line]) -> list[Line]:
    """Its own line goes. Where it has none, its price is in one of those that are for no one song."""
    others = [line for line in lines if line.song_id != song.pk]
    return others if others != lines else _ask_about_shared(lines)


def _with(song: Song, source: Quote, accepted: Quote) -> list[Line]:
    """A song that is put back costs what was agreed; one that was in no agreement has its price open."""
    lines = _lines_of(source)
    if any(line.song_id == song.pk for line in lines):
        return lines
    agreed = [line for line in _lines_of(accepted) if line.song_id == song.pk]
    if not agreed and _was_there(song, accepted):
        return _ask_about_shared(lines)
    return [*lines, *(agreed or [Line(song.title, Decimal(1), Decimal(0), song_id=song.pk, price_asked=True)])]


def _ask_about_shared(lines: list[Line]) -> list[Line]:
    return [replace(line, price_asked=line.price_asked or line.song_id is None) for line in lines]


def _was_there(song: Song, accepted: Quote) -> bool:
    """The first line about a song says that it was added."""
    added = song.timeline.order_by("pk").values_list("at", flat=True)[0]
    return accepted.decided_at is not None and added <= accepted.decided_at
