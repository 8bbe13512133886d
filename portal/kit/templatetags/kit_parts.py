"""The log of takes on a song's page."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.kit.models import TakeLog
from portal.kit.services import next_number

register = template.Library()
LOGGED_IN = (SongStage.READY, SongStage.TRACKING, SongStage.IN_REVIEW)


@register.inclusion_tag("kit/_song_takes.html", takes_context=True)
def song_takes(context: Context, song: Song) -> dict[str, Any]:
    """For the drummer, while there is something to log, and as long as something is logged."""
    user = context["request"].user
    takes = list(TakeLog.objects.visible_to(user).standing().filter(song=song).prefetch_related("rough_mixes"))
    can_log = user.is_drummer and song.stage in LOGGED_IN and not song.booking.is_over
    return {
        "song": song,
        "takes": takes,
        "can_log": can_log,
        "next_number": next_number(song) if can_log else 0,
        "csrf_token": context.get("csrf_token"),
    }
