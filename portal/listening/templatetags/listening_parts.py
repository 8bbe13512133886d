"""What was asked in a listening check, on a song's page and on its sheet."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake.checks.page_version import Seen
from portal.listening.forms import AskForm
from portal.listening.page import excerpt_shown

register = template.Library()


@register.inclusion_tag("listening/_song_listening.html", takes_context=True)
def song_listening(context: Context, song: Song) -> dict[str, Any]:
    """On the client's page: what they are asked now, and what they said."""
    user = context["request"].user
    excerpts = song.excerpts.visible_to(user).exclude(state="withdrawn")
    excerpts = excerpts.select_related("answered_by", "asked_by", "song__booking")
    return {"song": song, "user": user, "excerpts": excerpts}


@register.inclusion_tag("listening/_sheet_listening.html", takes_context=True)
def sheet_listening(context: Context, song: Song, seen: Seen) -> dict[str, Any]:
    """On the drummer's sheet, which showed `seen`: ask, and take what was answered."""
    excerpts = song.excerpts.exclude(state="withdrawn").select_related("answered_by", "asked_by")
    return {
        "song": song,
        "seen": seen,
        "request": context["request"],
        "csrf_token": context["csrf_token"],
        "form": AskForm(auto_id="ask-%s"),
        "can_ask": song.stage in (SongStage.ON_DESK, SongStage.READY) and not song.booking.is_over,
        "can_change": not song.booking.is_over,
        "asked": [excerpt_shown(excerpt) for excerpt in excerpts],
    }
