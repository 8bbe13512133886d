"""Parts that show a booking or a song, for our pages and those of later apps."""

from decimal import Decimal
from typing import Any

from django import template
from django.template import Context

from portal.bookings.fields import write_bpm
from portal.bookings.models import Booking, Song
from portal.bookings.stages import stage_in_words
from portal.bookings.turn_page import booking_turn, song_turn
from portal.people.models import User

register = template.Library()


@register.filter
def bpm(value: Decimal | None) -> str:
    """A tempo for people: three decimals at most, and no needless zeros."""
    return "" if value is None else write_bpm(round(value, 3))


@register.filter
def stage_for(song: Song, user: User) -> str:
    return stage_in_words(song.stage, for_client=not user.is_drummer, mix_accepted=song.mix_accepted)


@register.inclusion_tag("_parts/_turn.html", takes_context=True)
def turn_banner(context: Context, row: Booking | Song, done_here: str = "") -> dict[str, Any]:
    """Whose turn it is and since when, for pages of other apps about a booking or a song.

    `done_here` names the waits, by their codes, that are done on this very page: it leads nowhere for them.
    """
    request = context["request"]
    turn = song_turn(row, request.user) if isinstance(row, Song) else booking_turn(row, request.user)
    # A page does not send its reader to itself.
    is_here = turn.href == request.path or row.waits_for in done_here.split()
    return vars(turn) | ({"href": ""} if is_here else {})
